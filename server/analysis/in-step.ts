import { standardDeviation } from './statistics.ts';

/**
 * Where a train's beats fall within the readings. A reading tells that a narrow pulse fell into it, and not where, so
 * that a pulse is seen early or late by its place in the reading; over many beats its time is known as well as their
 * places lie close together.
 */

const PLACES = 64;
/** Beats in a place on average, and of the scatter what is left in them where the place tells when a pulse is seen. */
const LEAST_BEATS = 8;
const EXPLAINED = 0.7;
/** Every place is visited over this part of the train at least: else a trend looks like a place. */
const VISITED = 0.75;

/**
 * Times about an even clock without what their places in the readings account for; null where that is little, or where
 * places and trend cannot be told apart.
 * @param slots rising from 0
 */
export function withoutSlide(slots: Float64Array, residual: Float64Array, turn: number): Float64Array | null {
  const n = slots.length;
  const places = Math.min(PLACES, Math.floor(n / LEAST_BEATS));
  if (places < 2) return null;
  const sum = new Float64Array(places);
  const count = new Float64Array(places);
  const since = new Float64Array(places);
  const until = new Float64Array(places);
  const place = new Uint8Array(n);
  for (let i = 0; i < n; i++) {
    const turns = slots[i]! * turn;
    const k = Math.min(places - 1, Math.floor((turns - Math.floor(turns)) * places));
    place[i] = k;
    sum[k]! += residual[i]!;
    if (count[k]!++ === 0) since[k] = slots[i]!;
    until[k] = slots[i]!;
  }
  for (let k = 0; k < places; k++)
    if (count[k]! > 0 && until[k]! - since[k]! < VISITED * slots[n - 1]!) return null;
  const rest = residual.map((r, i) => r - sum[place[i]!]! / count[place[i]!]!);
  return standardDeviation(rest) < EXPLAINED * standardDeviation(residual) ? rest : null;
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
