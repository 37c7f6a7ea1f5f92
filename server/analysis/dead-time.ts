import { largestGap } from './in-step.ts';
import type { Stretch, Timing } from './trains.ts';

/** What a meter that measures only part of the time makes of a train: of its pulses some fall between two apertures. */

/** Dead time of less than this share hides too few pulses to matter. */
const LEAST_DEAD = 0.05;

export function hasDeadTime({ openShare }: Pick<Timing, 'openShare'>): boolean {
  return openShare !== undefined && openShare < 1 - LEAST_DEAD;
}

/** Beats that are looked at: more lie no more evenly than these for what matters. */
const MOST_PLACES = 20_000;

/**
 * By how much of its period, 0..1, the places that readings began in differ at most from ones that lie evenly
 * (discrepancy: the most that any stretch of the interval holds too many or too few of the beats, Niederreiter 1992,
 * from memory): one of them for a train in step with the readings, and as much as it has slid beyond whole turns for one
 * nearly so. 0 without dead time, where no place is missed.
 * @param pulses beats from first to last
 */
export function unvisitedPart(
  periodS: number,
  pulses: number,
  { apertureS, intervalS }: { readonly apertureS: number; readonly intervalS: number },
): number {
  if (!hasDeadTime({ openShare: apertureS / intervalS })) return 0;
  const turn = periodS / intervalS;
  const n = Math.max(1, Math.min(MOST_PLACES, pulses));
  const places = Float64Array.from({ length: n }, (_, k) => (k * turn) % 1).sort();
  let high = 0;
  let low = 0;
  places.forEach((place, k) => {
    high = Math.max(high, (k + 1) / n - place);
    low = Math.min(low, k / n - place);
  });
  return Math.min(1, ((high - low) * intervalS) / periodS);
}

/** For beats that are not quite even, and pulses too low to be seen at an aperture's ends. */
const UNSEEN_SLACK = 1.5;

/**
 * A train nearly in step, or in step once in a few beats, may be out of sight for as many beats as it takes until their
 * places lie closer than an aperture is long. One that seems quite in step may have been seen only while it slid
 * through an aperture.
 */
export function beatsUnseen(
  { periodS, pulses }: Pick<Stretch, 'periodS' | 'pulses'>,
  { openShare, readingS }: Pick<Timing, 'openShare' | 'readingS'>,
): number {
  if (openShare === undefined || !hasDeadTime({ openShare })) return 0;
  const most = ((1 - openShare) / openShare) * pulses;
  let beats = 1;
  while (beats < most && largestGap(periodS / readingS, beats) > openShare) beats++;
  return UNSEEN_SLACK * Math.min(most, beats);
}

/**
 * By how much of itself a mean of readings may differ from the train's own: an aperture that reaches over so many of
 * the places seen holds one more of them, or one less. Standard uncertainty, relative: chance decides which.
 */
export function unseenShare(unvisited: number, periodS: number, apertureS: number): number {
  return Math.min(1, (unvisited * periodS) / apertureS) / Math.sqrt(6);
}

/** A change of rhythm has to last for this many hits and be this large to end a train. */
export const LEAST_CHANGED = 5;
export const CHANGED_RATE = 1.3;

/**
 * Hits before the number of periods between them changes for the rest of the train. Sliding through the dead time they
 * come now thicker and now thinner, and nearly in step with the readings they repeat a pattern; only what divides all
 * of them in two parts, each with a rate of its own, is a change (least squares; penalty 3 s^2 ln n, common practice).
 * @param slots repetition numbers of the hits, rising
 */
export function hitsBeforeLasting(slots: Float64Array): number {
  const n = slots.length - 1;
  const origin = slots[0]!;
  const total = slots[n]! - origin;
  let cut = 0;
  let most = 0;
  for (let k = LEAST_CHANGED; k <= n - LEAST_CHANGED; k++) {
    const before = slots[k]! - origin;
    const gain = (before / k - (total - before) / (n - k)) ** 2 * ((k * (n - k)) / n);
    if (gain > most) {
      most = gain;
      cut = k;
    }
  }
  if (most <= 3 * scatter(slots) ** 2 * Math.log(Math.max(2, n))) return slots.length;
  const before = (slots[cut]! - origin) / cut;
  const after = (slots[n]! - slots[cut]!) / (n - cut);
  if (after / before < CHANGED_RATE && before / after < CHANGED_RATE) return slots.length;
  return hitsBeforeLasting(slots.subarray(0, cut + 1));
}

/** Standard deviation of the steps about a level that may change, from neighbours, as if they were normal. */
function scatter(slots: Float64Array): number {
  let sum = 0;
  for (let i = 2; i < slots.length; i++) sum += Math.abs(slots[i]! - 2 * slots[i - 1]! + slots[i - 2]!);
  return Math.max(0.2, (Math.sqrt(Math.PI) / 2) * (sum / Math.max(1, slots.length - 2)));
}
