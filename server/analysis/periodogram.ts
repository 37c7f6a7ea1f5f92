import { Fft } from './fft.ts';
import { sortedQuantile } from './statistics.ts';

/** Looking for a train that no single reading shows: averaged periodograms and sums over harmonics. */

export interface Line {
  /** Cycles per sample. */
  readonly frequency: number;
  readonly harmonics: number;
  /** Standard deviations above what noise alone would give at one trial. */
  readonly significance: number;
}

const SHORTEST = 512;
const LONGEST = 32_768;
const MOST_BLOCKS = 48;
const HARMONICS = [1, 2, 4, 8, 16, 32, 64];
/** Repetitions that a block must hold for its period to count. */
const LEAST_CYCLES = 6;

/** The strongest periodic train in evenly spaced samples (missing ones are 0); null below about 1000 samples. */
export function strongestLine(x: Float64Array): Line | null {
  const size = Math.min(LONGEST, 2 ** Math.floor(Math.log2(x.length / 4)));
  if (!(size >= SHORTEST)) return null;
  const { power, blocks } = averagePower(x, size);
  let best: Line | null = null;
  for (const harmonics of HARMONICS) {
    const scale = Math.sqrt(harmonics / blocks);
    const step = 1 / (2 * harmonics);
    for (let f = LEAST_CYCLES; f * harmonics < size / 2 - 1; f += step) {
      let sum = -harmonics;
      for (let h = 1; h <= harmonics; h++) sum += power[Math.round(h * f)]!;
      const significance = sum / scale;
      if (best === null || significance > best.significance)
        best = { frequency: f / size, harmonics, significance };
    }
  }
  return best;
}

/** Power in units of its own local median, so that white and slowly coloured noise both give 1. */
function averagePower(x: Float64Array, size: number): { power: Float64Array; blocks: number } {
  const fft = new Fft(size);
  const all = Math.floor(x.length / size);
  const step = Math.max(1, all / MOST_BLOCKS);
  const power = new Float64Array(size / 2);
  const re = new Float64Array(size);
  const im = new Float64Array(size);
  let blocks = 0;
  for (let b = 0; Math.floor(b) < all; b += step) {
    const from = Math.floor(b) * size;
    let mean = 0;
    for (let i = 0; i < size; i++) mean += x[from + i]!;
    mean /= size;
    for (let i = 0; i < size; i++) re[i] = x[from + i]! - mean;
    im.fill(0);
    fft.transform(re, im);
    for (let k = 0; k < size / 2; k++) power[k]! += re[k]! * re[k]! + im[k]! * im[k]!;
    blocks++;
  }
  whiten(power, blocks);
  return { power, blocks };
}

const STRIP = 128;

/** Divides by the median of each strip of neighbouring frequencies; lines are too few to move a median. */
function whiten(power: Float64Array, blocks: number): void {
  // The median of a mean of n exponentials is about 1 - 1/(3 n) of its mean (Wilson-Hilferty).
  const medianOfMean = (1 - 1 / (9 * blocks)) ** 3;
  for (let a = 0; a < power.length; a += STRIP) {
    const strip = power.subarray(a, Math.min(power.length, a + STRIP));
    const middle = sortedQuantile(Float64Array.from(strip).sort(), 0.5) / medianOfMean;
    for (let i = 0; i < strip.length; i++) strip[i] = middle > 0 ? strip[i]! / middle : 1;
  }
}
