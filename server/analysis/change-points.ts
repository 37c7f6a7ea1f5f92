/**
 * Changes of mean by PELT (Killick, Fearnhead, Eckley 2012, JASA 107(500):1590): the segmentation that
 * minimises the weighted sum of squares plus `penalty` for each change, with pruning (K = 0 for this cost).
 * Returns the index at which each new segment starts, in order, without 0.
 */
export function changePoints(
  values: ArrayLike<number>,
  weights: ArrayLike<number>,
  penalty: number,
): number[] {
  const n = values.length;
  if (n < 2) return [];
  const origin = values[0]!;
  const w = new Float64Array(n + 1);
  const s = new Float64Array(n + 1);
  const q = new Float64Array(n + 1);
  for (let i = 0; i < n; i++) {
    const v = values[i]! - origin;
    const weight = weights[i]!;
    w[i + 1] = w[i]! + weight;
    s[i + 1] = s[i]! + weight * v;
    q[i + 1] = q[i]! + weight * v * v;
  }
  const best = new Float64Array(n + 1);
  best[0] = -penalty;
  const previous = new Int32Array(n + 1);
  const candidates = new Int32Array(n + 1);
  const totals = new Float64Array(n + 1);
  let count = 1;
  for (let end = 1; end <= n; end++) {
    let least = Infinity;
    let at = 0;
    for (let k = 0; k < count; k++) {
      const start = candidates[k]!;
      const sum = s[end]! - s[start]!;
      const squares = q[end]! - q[start]! - (sum * sum) / (w[end]! - w[start]!);
      const total = best[start]! + (squares > 0 ? squares : 0);
      totals[k] = total;
      if (total < least) {
        least = total;
        at = start;
      }
    }
    best[end] = least + penalty;
    previous[end] = at;
    let kept = 0;
    for (let k = 0; k < count; k++) if (totals[k]! < least + penalty) candidates[kept++] = candidates[k]!;
    candidates[kept++] = end;
    count = kept;
  }
  const changes: number[] = [];
  for (let end = n; previous[end]! > 0; end = previous[end]!) changes.push(previous[end]!);
  return changes.reverse();
}

const BLOCKS = 1000;

/**
 * Change points of a long series with little memory and in linear time: equal neighbours are first joined
 * into at most about a thousand blocks (more where it jumps by over four deviations), which are then
 * segmented. `deviation` is the noise of one value; the penalty is 3 deviation^2 ln n (common practice).
 */
export function changePointsOfLongSeries(
  values: ArrayLike<number>,
  weights: ArrayLike<number>,
  deviation: number,
): number[] {
  const n = values.length;
  const longest = Math.ceil(n / BLOCKS);
  const starts: number[] = [];
  const means: number[] = [];
  const sums: number[] = [];
  for (let i = 0; i < n; i++) {
    const k = starts.length - 1;
    const v = values[i]!;
    const weight = weights[i]!;
    // Where it jumps all the time, blocks are cut by length alone: the segmentation must stay affordable.
    const mayJump = starts.length < BLOCKS * (1 + (3 * i) / n);
    if (k < 0 || i - starts[k]! >= longest || (mayJump && Math.abs(v - means[k]!) > 4 * deviation)) {
      starts.push(i);
      means.push(v);
      sums.push(weight);
    } else {
      sums[k] = sums[k]! + weight;
      means[k] = means[k]! + (weight * (v - means[k]!)) / sums[k];
    }
  }
  const penalty = 3 * deviation * deviation * Math.log(Math.max(2, n));
  const rough = changePoints(means, sums, penalty).map((block) => starts[block] ?? 0);
  return longest === 1
    ? rough
    : rough.map((at, k) => refine(values, at, rough[k - 1] ?? 0, rough[k + 1] ?? n, longest));
}

/** Where, within a block of the rough change, two constants fit best; their values come from either side. */
function refine(values: ArrayLike<number>, at: number, from: number, to: number, reach: number): number {
  const low = Math.max(from + 1, at - reach);
  const high = Math.min(to - 1, at + reach);
  const before = meanOf(values, Math.max(from, low - 50), low);
  const after = meanOf(values, high, Math.min(to, high + 50));
  let cost = 0;
  let lowest = 0;
  let best = low;
  for (let i = low; i < high; i++) {
    cost += (values[i]! - before) ** 2 - (values[i]! - after) ** 2;
    if (cost < lowest) {
      lowest = cost;
      best = i + 1;
    }
  }
  return best;
}

function meanOf(values: ArrayLike<number>, from: number, to: number): number {
  let sum = 0;
  for (let i = from; i < to; i++) sum += values[i]!;
  return sum / Math.max(1, to - from);
}
