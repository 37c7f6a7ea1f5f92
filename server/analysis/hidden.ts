import { followLine } from './coherence.ts';
import type { Conditioned } from './condition.ts';
import { strongestLine } from './periodogram.ts';
import { bestBox, fold, type Box, type Profile } from './profile.ts';
import { fitLine } from './statistics.ts';

/** Trains that no single reading shows: found by their line in the spectrum, measured by folding. */

export interface HiddenTrain {
  readonly firstS: number;
  readonly lastS: number;
  readonly periodS: number;
  readonly periodU: number;
  readonly pulses: number;
  readonly box: Box;
  /** Samples folded. */
  readonly readings: number;
}

/** Readings laid on an even grid of samples; NaN where there is none or where something else covers it. */
export interface Grid {
  readonly x: Float64Array;
  readonly startS: number;
  readonly intervalS: number;
}

/** Chance of a false line is below one in millions of trials. */
const LEAST_LINE = 9;
const LEAST_BOX = 7.5;
const LEAST_SAMPLES = 2048;
const MOST_BINS = 256;
/** The spectrum gives a frequency well enough to keep count over blocks of this many samples. */
const LONGEST_BLOCK = 26_000;
const MOST_BLOCKS = 48;

/** What of [from, to) is left when `use` says so, minus a floor; times regular to a reading. */
export function layOnGrid(
  c: Conditioned,
  from: number,
  to: number,
  floorAt: (sample: number) => number,
  use: (sample: number) => boolean,
): Grid | null {
  const interval = c.intervalS ?? 0;
  if (to - from < LEAST_SAMPLES / 2 || interval === 0) return null;
  const index = new Int32Array(to - from);
  for (let i = from + 1; i < to; i++)
    index[i - from] = index[i - from - 1]! + Math.max(1, Math.round((c.t[i]! - c.t[i - 1]!) / interval));
  const x = new Float64Array(index[index.length - 1]! + 1).fill(NaN);
  for (let i = from; i < to; i++) if (use(i)) x[index[i - from]!] = c.y[i]! - floorAt(i);
  const step = Math.max(1, Math.floor(index.length / 5000));
  const looks = Array.from({ length: Math.floor((index.length - 1) / step) + 1 }, (_, k) => k * step);
  const line = fitLine(
    looks.map((k) => index[k]!),
    looks.map((k) => c.t[from + k]!),
  );
  return line === null ? null : { x, startS: line.intercept, intervalS: line.slope };
}

export function findHidden(grid: Grid): HiddenTrain[] {
  return search(grid, 0, grid.x.length).sort((a, b) => a.firstS - b.firstS);
}

function search(grid: Grid, from: number, to: number): HiddenTrain[] {
  if (to - from < LEAST_SAMPLES) return [];
  const part = centred(grid.x.subarray(from, to));
  const line = strongestLine(part);
  if (line === null || line.significance < LEAST_LINE) return [];
  const fewest = Math.max(10, Math.ceil(part.length / LONGEST_BLOCK));
  const blocks = Math.max(fewest, Math.min(MOST_BLOCKS, Math.floor(line.significance ** 2 / 60)));
  const followed = followLine(part, line.frequency, line.harmonics, blocks);
  if (followed === null) return [];
  const a = from + followed.from;
  const b = from + followed.to;
  const folded = foldTrue(grid.x, a, b, followed.period);
  if (folded === null || folded.box.significance < LEAST_BOX) return [];
  const { box, profile, period, harmonic } = folded;
  const periodU = (followed.periodU / harmonic) * (period / followed.period) ** 2;
  const reach = Math.ceil((2 * (b - a)) / blocks);
  const edges = refineEdges(grid.x, period, box, a, b, Math.max(from, a - reach), Math.min(to, b + reach));
  const readings = profile.count.reduce((s, n) => s + n, 0);
  const found = toTrain(grid, edges.from, edges.to, period, periodU, box, readings);
  return [found, ...search(grid, from, edges.from), ...search(grid, edges.to, to)];
}

/** Harmonics of which the strongest line may be one. */
const MOST_HARMONICS = 4;
/** A fold at another period has to stand out by so much more than one at the line's own. */
const CLEARLY_MORE = 1.2;

/**
 * A line may be a harmonic of the train, or the image of one above half the sampling rate: f = (m +- line) / h
 * for some whole m and h. The period at which the fold stands out clearly most is the train's.
 */
function foldTrue(
  x: Float64Array,
  from: number,
  to: number,
  line: number,
): { period: number; harmonic: number; profile: Profile; box: Box } | null {
  let best: { period: number; harmonic: number; profile: Profile; box: Box } | null = null;
  for (const { period, harmonic } of trainsBehind(1 / line)) {
    const profile = fold(x, from, to, period, Math.max(8, Math.min(MOST_BINS, Math.round(4 * period))));
    const box = bestBox(profile);
    if (box !== null && (best === null || box.significance > CLEARLY_MORE * best.box.significance))
      best = { period, harmonic, profile, box };
  }
  return best;
}

function trainsBehind(frequency: number): { period: number; harmonic: number }[] {
  const out = [{ period: 1 / frequency, harmonic: 1 }];
  for (let harmonic = 2; harmonic <= MOST_HARMONICS; harmonic++)
    for (let m = 0; m <= harmonic / 2; m++)
      for (const sign of m === 0 ? [1] : [-1, 1]) {
        const f = (m + sign * frequency) / harmonic;
        if (f > 0 && f < 0.5) out.push({ period: 1 / f, harmonic });
      }
  return out;
}

/**
 * The blocks give a train's ends only to a block: between `low` and `high` each period is weighed for having
 * the pulse in it or not, and the ends are put where the sum of the weights is greatest.
 */
function refineEdges(
  x: Float64Array,
  period: number,
  box: Box,
  from: number,
  to: number,
  low: number,
  high: number,
): { from: number; to: number } {
  const half = box.share / 2;
  const weights: number[] = [];
  const first = Math.ceil(low / period - box.middle);
  const last = Math.floor(high / period - box.middle) - 1;
  for (let k = first; k <= last; k++) {
    const centre = (k + box.middle) * period;
    let sum = 0;
    let n = 0;
    for (
      let i = Math.max(0, Math.ceil(centre - half * period));
      i <= Math.min(x.length - 1, centre + half * period);
      i++
    ) {
      const v = x[i]!;
      if (v !== v) continue;
      sum += (v - box.floor) / box.height - 0.5;
      n++;
    }
    weights.push(n === 0 ? 0 : sum);
  }
  const sums = [0];
  for (const w of weights) sums.push(sums[sums.length - 1]! + w);
  const at = (sample: number): number =>
    Math.max(0, Math.min(weights.length, Math.round(sample / period - box.middle) - first));
  const middle = at((from + to) / 2);
  let head = middle;
  let tail = middle;
  for (let k = 0; k <= middle; k++) if (sums[k]! < sums[head]!) head = k;
  for (let k = middle; k <= weights.length; k++) if (sums[k]! > sums[tail]!) tail = k;
  const sample = (k: number): number => Math.round((k + first + box.middle - 0.5) * period);
  return { from: Math.max(low, sample(head)), to: Math.min(high, sample(tail)) };
}

function centred(x: Float64Array): Float64Array {
  let sum = 0;
  let n = 0;
  for (const v of x)
    if (v === v) {
      sum += v;
      n++;
    }
  const mean = n === 0 ? 0 : sum / n;
  return x.map((v) => (v === v ? v - mean : 0));
}

function toTrain(
  grid: Grid,
  from: number,
  to: number,
  period: number,
  periodU: number,
  box: Box,
  readings: number,
): HiddenTrain {
  // Phase 0 of the fold is sample 0 of the grid.
  const beat = box.middle * period;
  const first = beat + Math.ceil((from - beat) / period) * period;
  const pulses = Math.max(1, Math.floor((to - 1 - first) / period) + 1);
  const at = (sample: number): number => grid.startS + sample * grid.intervalS;
  return {
    firstS: at(first),
    lastS: at(first + (pulses - 1) * period),
    periodS: period * grid.intervalS,
    periodU: periodU * grid.intervalS,
    pulses,
    box,
    readings,
  };
}
