import { valueOf } from '../../drivers/core/reading.ts';
import type { Buckets } from '../samples/buckets.ts';

/** Lowest and highest as integers: the value is count x `step` x 10^`scale`. */
export interface Counted {
  readonly scale: number;
  readonly step: number;
  readonly exact: boolean;
  readonly low: Float64Array;
  readonly high: Float64Array;
}

/** Meters show at most so many places after the point in V or A. */
const MOST_PLACES = 9;
const LARGEST = 2 ** 45;
/** Values without decimal digits of their own are shown with so many steps of their range. */
const STEPS = 2 ** 15;

/** With the digits that the values have, or rounded where they have none that fit. */
export function countsOf({ min, max, raw }: Pick<Buckets, 'min' | 'max' | 'raw'>): Counted {
  const places = placesOf(max, placesOf(min, 0));
  if (places !== null) {
    const power = 10 ** places;
    const digits = (x: Float64Array): Float64Array => x.map((y) => Math.round(y * power) + 0);
    const low = digits(min);
    return { scale: -places, step: 1, exact: true, low, high: raw ? low : digits(max) };
  }
  return rounded(min, max, raw);
}

/** So many times as coarse, rounded outwards. */
export function coarser({ scale, step, low, high }: Counted, times: number): Counted {
  return {
    scale,
    step: step * times,
    exact: false,
    low: low.map((x) => Math.floor(x / times)),
    high: high.map((x) => Math.ceil(x / times)),
  };
}

export function valuesOf(
  counts: Float64Array,
  { scale, step }: Pick<Counted, 'scale' | 'step'>,
): Float64Array {
  return counts.map((k) => valueOf(k * step, scale));
}

export function outer(low: Float64Array, height: Float64Array): Float64Array {
  return height.map((h, i) => h + low[i]!);
}

/** The fewest places, at least `from`, with which all values are written exactly; null where there are none. */
function placesOf(x: Float64Array, from: number | null): number | null {
  if (from === null) return null;
  let places = from;
  let power = 10 ** places;
  for (const y of x)
    for (;;) {
      const k = Math.round(y * power);
      if (Math.abs(k) > LARGEST) return null;
      if (k / power === y) break;
      if (++places > MOST_PLACES) return null;
      power *= 10;
    }
  return places;
}

function rounded(min: Float64Array, max: Float64Array, raw: boolean): Counted {
  const bottom = min.reduce((a, b) => Math.min(a, b), Infinity);
  const top = max.reduce((a, b) => Math.max(a, b), -Infinity);
  const size = Math.max(Math.abs(bottom), Math.abs(top), 1e-9);
  const finest = Math.max((top - bottom) / STEPS, size / LARGEST, size * 1e-7);
  const scale = Math.floor(Math.log10(finest));
  const nearest = (x: Float64Array): Float64Array => x.map((y) => Math.round(y / 10 ** scale) + 0);
  if (raw) {
    const low = nearest(min);
    return { scale, step: 1, exact: false, low, high: low };
  }
  // Dividing may round to the wrong side of a whole number.
  const low = nearest(min).map((k, i) => (valueOf(k, scale) > min[i]! ? k - 1 : k));
  const high = nearest(max).map((k, i) => (valueOf(k, scale) < max[i]! ? k + 1 : k));
  return { scale, step: 1, exact: false, low, high };
}
