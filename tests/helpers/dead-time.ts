import type { TrainTruth } from './load.ts';
import type { MeterSpec } from './nights.ts';

/** What dead time between a meter's readings keeps from any analysis, computed from the truth. */

type Meter = Pick<MeterSpec, 'intervalS' | 'apertureS'>;
type Train = Pick<TrainTruth, 'periodS' | 'pulses'>;

/** More beats than that fill the gaps to less than matters. */
const MOST_BEATS = 2000;

/** Places of a train's beats within the interval of the readings, 0..1, in time order. */
function places({ intervalS }: Meter, { periodS, pulses }: Train): number[] {
  return Array.from({ length: Math.min(MOST_BEATS, pulses) }, (_, k) => ((k * periodS) / intervalS) % 1);
}

/** The largest part of the interval, seconds, that no beat falls into; 0 where apertures stand back to back. */
function largestGapS(meter: Meter, train: Train): number {
  if (aperture(meter) >= meter.intervalS) return 0;
  const sorted = places(meter, train).sort((a, b) => a - b);
  const gaps = sorted.map((p, i) => (sorted[i + 1] ?? sorted[0]! + 1) - p);
  return Math.max(...gaps) * meter.intervalS;
}

/**
 * By how much of itself a train's average may be off in any mean of the readings: an aperture holds one of the places
 * more or less.
 */
export function unknownShare(meter: Meter, train: Train): number {
  return Math.min(1, largestGapS(meter, train) / aperture(meter));
}

/**
 * Whether the nearest faster train that the same sampling shows at the same places (1 / p = 1 / interval - 1 / period)
 * would fill the aperture with as many of them, give or take the one that it may hold more or less.
 */
export function looksLikeFaster(meter: Meter, train: Train): boolean {
  const faster = 1 / meter.intervalS - 1 / train.periodS;
  const apart = largestGapS(meter, train) / train.periodS;
  return faster > 0 && aperture(meter) * (faster - 1 / train.periodS) < 2 * apart;
}

/** Of narrow pulses at least this share is seen. */
export function seenShare(meter: Meter): number {
  return Math.min(1, aperture(meter) / meter.intervalS);
}

/** The most beats in a row whose pulses touch no aperture; 0 where apertures stand back to back. */
export function longestMissed(meter: Meter, train: Train, widthS: number): number {
  const open = (aperture(meter) + widthS) / meter.intervalS;
  if (open >= 1 || aperture(meter) >= meter.intervalS) return 0;
  let most = 0;
  // Wherever the first beat may have fallen.
  for (let start = 0; start < 1; start += 1 / 64) {
    let run = 0;
    for (const p of places(meter, train)) {
      run = (p + start) % 1 < open ? 0 : run + 1;
      most = Math.max(most, run);
    }
  }
  return most;
}

function aperture({ apertureS, intervalS }: Meter): number {
  return apertureS ?? intervalS;
}
