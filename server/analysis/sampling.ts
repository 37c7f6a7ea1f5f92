import { autocorrelation, mean, quantile, sortedQuantile } from './statistics.ts';

/** How a meter samples, estimated from its readings alone. */

const LOOKS = 4096;

/**
 * The time between readings, seconds: the median difference where arrival is regular; where readings arrive
 * in bunches, the time a long run of readings takes, with runs that lost some left out. Null below 2 readings.
 */
export function estimateInterval(t: Float64Array): number | null {
  const n = t.length;
  if (n < 2) return null;
  const sorted = differencesOver(t, 1).sort();
  const middle = sortedQuantile(sorted, 0.5);
  const spread = sortedQuantile(sorted, 0.98) - sortedQuantile(sorted, 0.02);
  if (spread < 0.02 * middle || n < 50) return middle > 0 ? middle : null;
  return intervalThroughBunches(t);
}

const FIRST_RUN = 8;
/**
 * The first guess is within this of the truth: readings that wait for the radio's turn move a run's ends by half
 * an interval.
 */
const FIRST_DOUBT = 0.5 / FIRST_RUN;
/** Where a busy computer holds up more than a run, only the pace of so many readings tells. */
const LONG_RUN = 256;
const CLEARLY_BETTER = 1.2;
const FIRST_SPAN = 256;
const PHASES = 512;
/** A clock keeps its beat over pauses no longer than this, seconds. */
const LONGEST_PAUSE_S = 30;

/**
 * Readings that arrive early or late, in bunches, and not all of them: the interval is the one on whose clock the
 * arrivals keep together best. It is looked for around the pace of the runs of eight that lost none, and around
 * the usual pace of long runs.
 */
function intervalThroughBunches(t: Float64Array): number | null {
  const short = paceOfWholeRuns(t);
  if (short === null) return null;
  const long = quantile(differencesOver(t, LONG_RUN), 0.5) / LONG_RUN;
  const best = keptBest(t, short);
  if (!(long > 0) || Math.abs(long / short - 1) < FIRST_DOUBT) return best.interval;
  const other = keptBest(t, long);
  // A clock of a third of the interval has a beat at every reading, too.
  return best.together > CLEARLY_BETTER * other.together ? best.interval : other.interval;
}

function paceOfWholeRuns(t: Float64Array): number | null {
  const runs = differencesOver(t, FIRST_RUN);
  let interval = quantile(runs, 0.25) / FIRST_RUN;
  if (!(interval > 0)) return null;
  for (let round = 0; round < 4; round++) {
    const whole = runs.filter((d) => Math.abs(d - FIRST_RUN * interval) < interval / 2);
    if (whole.length > 0) interval = mean(whole) / FIRST_RUN;
  }
  return interval;
}

/**
 * The interval near a guess on whose clock the arrivals keep together best, over ever longer spans (lost readings
 * and symmetric delays do not move it), and the share of them that did so over the first.
 */
function keptBest(t: Float64Array, guess: number): { interval: number; together: number } {
  const { from, to } = longestRun(t, Math.max(LONGEST_PAUSE_S, 8 * guess));
  let interval = guess;
  let doubt = FIRST_DOUBT;
  let first: number | null = null;
  for (let span = FIRST_SPAN; ; span *= 4) {
    const end = Math.min(to, from + span);
    const step = 1 / (4 * (end - from));
    const tries = Math.ceil(doubt / step);
    const together = Float64Array.from({ length: 2 * tries + 1 }, (_, k) =>
      togetherness(t, from, end, interval * (1 + (k - tries) * step)),
    );
    // Where readings are held up for much of the time, a short span agrees with a wrong clock about as well.
    if (first === null && end < to && rivalOf(together) > RIVAL) continue;
    first ??= Math.max(...together) / (end - from) ** 2;
    interval *= 1 + (topOf(together) - tries) * step;
    doubt = 2 * step;
    if (end === to) return { interval, together: first };
  }
}

/** Of the best clock's agreement; another one that has more than this may be the right one. */
const RIVAL = 0.5;
/** Tries on either side of the best that are the same clock. */
const SAME_CLOCK = 4;

/** How high the next peak is against the highest. */
function rivalOf(values: Float64Array): number {
  const top = values.indexOf(Math.max(...values));
  const others = values.filter((_, k) => Math.abs(k - top) > SAME_CLOCK);
  return Math.max(0, ...others) / values[top]!;
}

/** Where the values are highest, between them by the parabola through the highest and its neighbours. */
function topOf(values: Float64Array): number {
  const top = values.indexOf(Math.max(...values));
  const [before, at, after] = [values[top - 1], values[top]!, values[top + 1]];
  if (before === undefined || after === undefined) return top;
  const bend = before - 2 * at + after;
  return bend === 0 ? top : top + (before - after) / (2 * bend);
}

function differencesOver(t: Float64Array, run: number): Float64Array {
  return Float64Array.from(places(t.length - run, LOOKS), (i) => t[i + run]! - t[i]!);
}

const GOLDEN = (Math.sqrt(5) - 1) / 2;

/**
 * Up to `most` of the places 0 to n - 1. Multiples of the golden ratio keep step with no pattern: readings that
 * wait for the radio's turn repeat theirs every few, and a fixed stride would always see the same of them.
 */
export function places(n: number, most: number): Int32Array {
  if (n <= most) return Int32Array.from({ length: Math.max(0, n) }, (_, i) => i);
  return Int32Array.from({ length: most }, (_, k) => Math.floor((k * GOLDEN - Math.floor(k * GOLDEN)) * n));
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
  const sorted = differencesOver(t, 1).sort();
  return (sortedQuantile(sorted, 0.95) - sortedQuantile(sorted, 0.02)) / 2;
}

const MOST_LAG = 32;
const LOOKED_AT = 4096;
const REPEATED = 0.25;
const BY_CHANCE = 5;

/**
 * Whether readings wait for the radio's turn: then the pattern of their delays repeats every few readings, and the
 * differences are alike at that lag. Delays that are each by themselves are alike at none but the first.
 */
export function waitsForTurns(t: Float64Array, intervalS: number): boolean {
  const n = Math.min(LOOKED_AT, t.length - 1);
  const off = new Float64Array(Math.max(0, n));
  for (let i = 0; i < n; i++) off[i] = Math.max(-1, Math.min(1, (t[i + 1]! - t[i]!) / intervalS - 1));
  const alike = Math.max(REPEATED, BY_CHANCE / Math.sqrt(n));
  for (let lag = 2; lag <= Math.min(MOST_LAG, n / 4); lag++)
    if (autocorrelation(off, lag) > alike) return true;
  return false;
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
