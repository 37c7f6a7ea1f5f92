import type { Conditioned } from './condition.ts';
import { selectInPlace, sortedQuantile } from './statistics.ts';

/**
 * Stage 2: the night in windows of some seconds, each with the level that lies under its pulses. The floor is
 * the clipped mean around the lowest cluster, so that narrow pulses do not lift it and its own noise does not
 * pull it down. Linear in samples.
 */
export interface Windows {
  readonly count: number;
  readonly lengthS: number;
  /** First sample of each window; one entry more than windows. */
  readonly from: Int32Array;
  readonly startS: Float64Array;
  readonly endS: Float64Array;
  readonly floor: Float64Array;
  readonly mean: Float64Array;
  /** Standard deviation of the readings about the floor, without pulses; from the whole channel. */
  readonly noise: number;
}

const LEAST_S = 10;
const SAMPLES = 50;
/** Short recordings are cut into at least this many windows, so that their steps can be seen. */
const WINDOWS_LEAST = 16;
/** Low enough to lie in the lowest cluster even where half of the readings carry a pulse. */
const LOW = 0.2;

/** Standard deviation of the readings under the pulses, as `cutWindows` finds it, without the windows themselves. */
export function channelNoise(c: Conditioned): number {
  return estimateNoise(c, boundaries(c, windowLength(c)));
}

function windowLength(c: Conditioned): number {
  const n = c.t.length;
  const span = n > 0 ? c.t[n - 1]! - c.t[0]! : 0;
  const interval = c.intervalS ?? 1;
  return Math.max(
    4 * interval,
    Math.min(Math.max(LEAST_S, SAMPLES * interval), span / WINDOWS_LEAST || LEAST_S),
  );
}

export function cutWindows(c: Conditioned): Windows {
  const interval = c.intervalS ?? 1;
  const lengthS = windowLength(c);
  const from = boundaries(c, lengthS);
  const count = from.length - 1;
  const noise = estimateNoise(c, from);
  const clip = Math.max(3 * noise, 1.01 * (c.resolution ?? 0), 1e-12);
  const out = {
    count,
    lengthS,
    from,
    startS: new Float64Array(count),
    endS: new Float64Array(count),
    floor: new Float64Array(count),
    mean: new Float64Array(count),
    noise,
  };
  let largest = 0;
  for (let k = 0; k < count; k++) largest = Math.max(largest, from[k + 1]! - from[k]!);
  const scratch = new Float64Array(largest);
  for (let k = 0; k < count; k++) {
    const a = from[k]!;
    const b = from[k + 1]!;
    out.startS[k] = c.t[a]! - interval;
    out.endS[k] = c.t[b - 1]!;
    let sum = 0;
    for (let i = a; i < b; i++) {
      const v = c.y[i]!;
      scratch[i - a] = v;
      sum += v;
    }
    out.mean[k] = sum / (b - a);
    const low = selectInPlace(scratch, 0, b - a, Math.floor(LOW * (b - a - 1)));
    const once = clippedMean(c.y, a, b, low, 1.3 * clip);
    out.floor[k] = clippedMean(c.y, a, b, once, clip);
  }
  return out;
}

/** Windows end on a fixed grid of time and at gaps; a window holds at least one sample. */
function boundaries(c: Conditioned, lengthS: number): Int32Array {
  const from: number[] = [0];
  const n = c.t.length;
  if (n === 0) return Int32Array.of(0);
  const gapS = Math.max(8 * (c.intervalS ?? 1), 1);
  let edge = c.t[0]! + lengthS;
  for (let i = 1; i < n; i++) {
    const gap = c.t[i]! - c.t[i - 1]! > gapS;
    if (c.t[i]! < edge && !gap) continue;
    from.push(i);
    if (gap) edge = c.t[i]! + lengthS;
    else while (c.t[i]! >= edge) edge += lengthS;
  }
  from.push(n);
  return Int32Array.from(from);
}

function clippedMean(y: Float64Array, a: number, b: number, centre: number, clip: number): number {
  let sum = 0;
  let n = 0;
  for (let i = a; i < b; i++) {
    const d = y[i]! - centre;
    if (d > clip || d < -clip) continue;
    sum += d;
    n++;
  }
  return n === 0 ? centre : centre + sum / n;
}

const NOISE_WINDOWS = 96;

/**
 * The noise under the pulses, from the lower side of the windows' distributions only. Between the 2.5 % and
 * 20 % points lie 1.12 standard deviations with no pulses at all and 1.39 with every second reading in one.
 */
function estimateNoise(c: Conditioned, from: Int32Array): number {
  const windows = from.length - 1;
  const step = Math.max(1, Math.floor(windows / NOISE_WINDOWS));
  const estimates: number[] = [];
  for (let k = 0; k < windows; k += step) {
    const a = from[k]!;
    const b = from[k + 1]!;
    if (b - a < 8) continue;
    const sorted = c.y.slice(a, Math.min(b, a + 400)).sort();
    estimates.push((sortedQuantile(sorted, LOW) - sortedQuantile(sorted, 0.025)) / 1.2);
  }
  const typical = estimates.length === 0 ? 0 : sortedQuantile(Float64Array.from(estimates).sort(), 0.5);
  return Math.max(typical, (c.resolution ?? 0) / Math.sqrt(12));
}
