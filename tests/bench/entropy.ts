/**
 * What no coder of its kind can go below: the mean of -log2(share) of each number among those that came in the same
 * context. Bits.
 */
function conditional(contexts: Int32Array, numbers: Int32Array): number {
  const joint = new Map<number, number>();
  const marginal = new Map<number, number>();
  for (let i = 0; i < numbers.length; i++) {
    const pair = contexts[i]! * 2 ** 24 + numbers[i]! + 2 ** 23;
    joint.set(pair, (joint.get(pair) ?? 0) + 1);
    marginal.set(contexts[i]!, (marginal.get(contexts[i]!) ?? 0) + 1);
  }
  let bits = 0;
  for (const [pair, n] of joint) bits -= n * Math.log2(n / marginal.get(Math.floor(pair / 2 ** 24))!);
  return bits / numbers.length;
}

/** Of whole-millisecond times, each given where the meter's sampling grid is, to a sixteenth of a millisecond. */
export function bitsOfTimes(t: Float64Array): number {
  const n = t.length;
  const residual = new Int32Array(n);
  const fraction = new Int32Array(n);
  // The grid as the mean of a thousand times before and after, in which the radio's delay averages out.
  const half = 500;
  const slope = (t[n - 1]! - t[0]!) / (n - 1);
  let sum = 0;
  const detrended = (i: number) => t[i]! - t[0]! - i * slope;
  for (let i = 0; i < Math.min(half, n); i++) sum += detrended(i);
  for (let i = 0; i < n; i++) {
    if (i + half < n) sum += detrended(i + half);
    if (i - half - 1 >= 0) sum -= detrended(i - half - 1);
    const count = Math.min(n - 1, i + half) - Math.max(0, i - half) + 1;
    const grid = t[0]! + i * slope + sum / count;
    residual[i] = t[i]! - Math.floor(grid);
    fraction[i] = Math.floor((grid - Math.floor(grid)) * 16);
  }
  return conditional(fraction, residual);
}

/** Of counts, each given the slow mean of those before it to a quarter count, and whether the one before left it. */
export function bitsOfCounts(counts: Float64Array): number {
  const n = counts.length;
  const residual = new Int32Array(n);
  const context = new Int32Array(n);
  let level = counts[0]!;
  let away = 0;
  for (let i = 0; i < n; i++) {
    const home = Math.round(level);
    const quarter = Math.floor((level - home + 0.5) * 4);
    residual[i] = Math.max(-(2 ** 23), Math.min(2 ** 23 - 1, counts[i]! - home));
    context[i] = Math.min(3, quarter) + 4 * Math.min(away, 3);
    if (Math.abs(residual[i]!) <= 6) {
      level += (counts[i]! - level) / 32;
      away = 0;
    } else if (++away > 8) {
      level = counts[i]!;
      away = 0;
    }
  }
  return conditional(context, residual);
}
