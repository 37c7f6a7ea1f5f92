import { mean, quantile, sortedQuantile } from './statistics.ts';

/** How a meter samples, estimated from its readings alone. */

const LOOKS = 4096;

/**
 * The time between readings, seconds: the median difference where arrival is regular; where readings arrive
 * in bunches, the time a long run of readings takes, with runs that lost some left out. Null below 2 readings.
 */
export function estimateInterval(t: Float64Array): number | null {
  const n = t.length;
  if (n < 2) return null;
  const step = Math.max(1, Math.floor((n - 1) / LOOKS));
  const differences: number[] = [];
  for (let i = 1; i < n; i += step) differences.push(t[i]! - t[i - 1]!);
  const sorted = Float64Array.from(differences).sort();
  const middle = sortedQuantile(sorted, 0.5);
  const spread = sortedQuantile(sorted, 0.75) - sortedQuantile(sorted, 0.25);
  if (spread < 0.02 * middle || n < 50) return middle > 0 ? middle : null;
  return intervalThroughBunches(t);
}

const FIRST_RUN = 8;
/** The first guess is within this of the truth. */
const FIRST_DOUBT = 0.01;
const FIRST_SPAN = 256;
const PHASES = 2048;

/**
 * Readings that arrive early or late, in bunches, and not all of them: a run of eight that lost none takes about
 * eight intervals. From there the interval is the one on whose clock the arrivals keep together best, over ever
 * longer spans: lost readings and symmetric delays do not move it.
 */
function intervalThroughBunches(t: Float64Array): number | null {
  const first = differencesOver(t, FIRST_RUN);
  let interval = quantile(first, 0.25) / FIRST_RUN;
  if (!(interval > 0)) return null;
  for (let round = 0; round < 4; round++) {
    const whole = first.filter((d) => Math.abs(d - FIRST_RUN * interval) < interval / 2);
    if (whole.length > 0) interval = mean(whole) / FIRST_RUN;
  }
  const { from, to } = longestRun(t, 8 * interval);
  let doubt = FIRST_DOUBT;
  for (let span = FIRST_SPAN; ; span *= 4) {
    const end = Math.min(to, from + span);
    const step = 1 / (4 * (end - from));
    let best = interval;
    let most = -1;
    for (let off = -doubt; off <= doubt; off += step) {
      const tried = interval * (1 + off);
      const together = togetherness(t, from, end, tried);
      if (together > most) {
        most = together;
        best = tried;
      }
    }
    interval = best;
    doubt = 2 * step;
    if (end === to) return interval;
  }
}

function differencesOver(t: Float64Array, run: number): number[] {
  const step = Math.max(1, Math.floor((t.length - run) / LOOKS));
  const out: number[] = [];
  for (let i = run; i < t.length; i += step) out.push(t[i]! - t[i - run]!);
  return out;
}

/** The longest stretch of readings [from, to) without a pause. */
function longestRun(t: Float64Array, pauseS: number): { from: number; to: number } {
  let best = { from: 0, to: 0 };
  let from = 0;
  for (let i = 1; i <= t.length; i++) {
    if (i < t.length && t[i]! - t[i - 1]! <= pauseS) continue;
    if (i - from > best.to - best.from) best = { from, to: i };
    from = i;
  }
  return best;
}

/** How well some of the readings [from, to) agree on one phase of a clock: squared length of the mean vector. */
function togetherness(t: Float64Array, from: number, to: number, interval: number): number {
  const step = Math.max(1, Math.floor((to - from) / PHASES));
  let re = 0;
  let im = 0;
  for (let i = from; i < to; i += step) {
    const turn = (2 * Math.PI * (t[i]! - t[from]!)) / interval;
    re += Math.cos(turn);
    im += Math.sin(turn);
  }
  return re * re + im * im;
}

/**
 * How unevenly readings arrive, seconds: half the width of the central 96 % of the differences. Zero for a
 * meter with its own time stamps; the radio's delay, or the length of its bunches, for others.
 */
export function estimateJitter(t: Float64Array): number {
  const n = t.length;
  if (n < 20) return 0;
  const step = Math.max(1, Math.floor((n - 1) / LOOKS));
  const differences: number[] = [];
  for (let i = 1; i < n; i += step) differences.push(t[i]! - t[i - 1]!);
  const sorted = Float64Array.from(differences).sort();
  return (sortedQuantile(sorted, 0.95) - sortedQuantile(sorted, 0.02)) / 2;
}

/** Last digits that displays have: powers of ten, and the 1/64 V of the standard's voltage characteristic. */
const DIGITS = [1, 0.1, 1 / 64, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7];

/** The largest last digit of which every reading is a multiple; null when the readings are not on a grid. */
export function estimateResolution(y: Float64Array): number | null {
  const n = y.length;
  if (n === 0) return null;
  const step = Math.max(1, Math.floor(n / LOOKS));
  return (
    DIGITS.find((digit) => {
      for (let i = 0; i < n; i += step) {
        const counts = y[i]! / digit;
        if (Math.abs(counts - Math.round(counts)) > 1e-7 * Math.max(1, Math.abs(counts))) return false;
      }
      return true;
    }) ?? null
  );
}
