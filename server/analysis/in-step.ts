import { standardDeviation } from './statistics.ts';

/**
 * Where a train's beats fall within the readings. A reading tells that a narrow pulse fell into it, and not where, so
 * that a pulse is seen early or late by its place in the reading; over many beats its time is known as well as their
 * places lie close together.
 */

const MOST_PLACES = 64;
const LEAST_PLACES = 8;
/** Beats in a place on average. */
const LEAST_BEATS = 8;
/** Every place is visited in each of so many parts of the train: else a trend looks like a place. */
const PARTS = 8;
/** Times as much of the scatter as places would account for by chance. */
const BY_CHANCE = 5;

/**
 * Times about an even clock without what their places in the readings account for; null where that may be chance, or
 * where places and trend cannot be told apart.
 * @param slots rising from 0
 */
export function withoutSlide(slots: Float64Array, residual: Float64Array, turn: number): Float64Array | null {
  const n = slots.length;
  let places = Math.min(MOST_PLACES, Math.floor(n / LEAST_BEATS));
  // Beats near a fraction of a reading pass slowly through fine places, and soon through coarse ones.
  for (; places >= LEAST_PLACES; places = Math.floor(places / 2)) {
    const means = meansOfPlaces(slots, residual, turn, places);
    if (means === null) continue;
    const rest = residual.map((r, i) => r - means[placeOf(slots[i]! * turn, places)]!);
    const left = (standardDeviation(rest) / standardDeviation(residual)) ** 2;
    return left < 1 - (BY_CHANCE * places) / n ? rest : null;
  }
  return null;
}

function placeOf(turns: number, places: number): number {
  return Math.min(places - 1, Math.floor((turns - Math.floor(turns)) * places));
}

/** Null where some place is visited in some parts of the train only. */
function meansOfPlaces(
  slots: Float64Array,
  residual: Float64Array,
  turn: number,
  places: number,
): Float64Array | null {
  const sum = new Float64Array(places);
  const count = new Float64Array(places);
  const visits = new Uint8Array(places);
  const part = PARTS / (slots[slots.length - 1]! + 1);
  for (let i = 0; i < slots.length; i++) {
    const k = placeOf(slots[i]! * turn, places);
    sum[k]! += residual[i]!;
    count[k]!++;
    visits[k]! |= 1 << Math.floor(slots[i]! * part);
  }
  if (visits.some((v) => v !== 0 && v !== 2 ** PARTS - 1)) return null;
  return sum.map((s, k) => s / Math.max(1, count[k]!));
}

/**
 * The largest gap on a circle of length 1 between `beats` places that lie `turn` apart (three-distance theorem:
 * Sos 1957, from memory): 1 for a train in step with the readings, about 1 / beats for one that keeps no step.
 * @param turn period over interval; its whole turns do not count
 */
export function largestGap(turn: number, beats: number): number {
  // The nearest places on either side of the first, and the beats that lie there.
  let above = turn - Math.floor(turn);
  let below = 1 - above;
  let atAbove = 1;
  let atBelow = 1;
  while (atAbove + atBelow <= beats) {
    if (above > below) {
      above -= below;
      atAbove += atBelow;
    } else {
      below -= above;
      atBelow += atAbove;
    }
  }
  return above + below;
}
