import type { Conditioned } from './condition.ts';
import type { Excursions } from './excursions.ts';
import type { Floor } from './floor.ts';

/** Noise of fewer digits than this: the floors of windows keep some of the digits around them and leave others out. */
const FEW_DIGITS = 1.5;
/** Of a digit: what is farther off is no rounding. */
const MOST_OFF = 0.5;
/** Of the readings: where fewer are free of pulses, those that are may not be the floor. */
const LEAST_QUIET = 0.1;

/**
 * By how much the floor under the readings [from, end) is too low, amperes, where its noise is made of a few digits: the
 * mean of all readings that nothing rises above. 0 where that does not tell.
 * @param noise of one reading, amperes
 */
export function offsetOfFloor(
  { y, resolution }: Conditioned,
  floor: Floor,
  x: Excursions,
  from: number,
  noise: number,
): number {
  const digit = resolution ?? 0;
  if (noise > FEW_DIGITS * digit) return 0;
  let sum = 0;
  let count = 0;
  let next = 0;
  for (let i = from; i < y.length;) {
    let stop = Math.min(y.length, floor.until(i));
    while (next < x.count && x.last[next]! + 1 < i) next++;
    if (next < x.count) {
      if (x.first[next]! - 1 <= i) {
        i = x.last[next]! + 2;
        continue;
      }
      stop = Math.min(stop, x.first[next]! - 1);
    }
    const level = floor.value;
    for (let k = i; k < stop; k++) sum += y[k]! - level;
    count += stop - i;
    i = stop;
  }
  if (count < LEAST_QUIET * (y.length - from)) return 0;
  const offset = sum / Math.max(1, count);
  return Math.abs(offset) < MOST_OFF * digit ? offset : 0;
}
