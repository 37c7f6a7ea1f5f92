import type { Conditioned } from './condition.ts';
import { aroundExcursions, type Excursions } from './excursions.ts';
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
  const addQuiet = (a: number, b: number): void => {
    for (let i = a; i < b;) {
      const stop = Math.min(b, floor.until(i));
      const level = floor.value;
      count += stop - i;
      for (; i < stop; i++) sum += y[i]! - level;
    }
  };
  aroundExcursions(x, from, y.length, { quiet: addQuiet });
  if (count < LEAST_QUIET * (y.length - from)) return 0;
  const offset = sum / Math.max(1, count);
  return Math.abs(offset) < MOST_OFF * digit ? offset : 0;
}
