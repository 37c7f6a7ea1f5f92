import { quantile, sortedQuantile } from './statistics.ts';

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
  if (spread < 0.2 * middle || n < 50) return middle > 0 ? middle : null;
  const run = Math.min(64, n >> 2);
  const spans: number[] = [];
  const runStep = Math.max(1, Math.floor((n - run) / LOOKS));
  for (let i = run; i < n; i += runStep) spans.push((t[i]! - t[i - run]!) / run);
  const interval = quantile(spans, 0.25);
  return interval > 0 ? interval : null;
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
