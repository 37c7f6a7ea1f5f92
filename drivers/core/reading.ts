import { DriverError } from './errors.ts';

export type Quantity = 'voltage' | 'current' | 'temperature';

/** The SI unit (or degree Celsius) in which a quantity's value is expressed; prefixes live in the scale. */
export const UNIT: Readonly<Record<Quantity, 'V' | 'A' | 'degC'>> = {
  voltage: 'V',
  current: 'A',
  temperature: 'degC',
};

/** `scale` of a value that the meter sent as a binary float: `counts` is that float itself, exactly. */
export const FLOAT32 = 126;
export const FLOAT64 = 127;

/**
 * Flags that travel with a reading. A reading with any flag in NOT_LIVE never counts as a live DC value;
 * it is recorded as what it was.
 */
export const FLAG = {
  none: 1, // the meter said that it has no value ("not known", blank display); counts is 0
  overload: 2,
  hold: 4,
  relative: 8,
  minMax: 16,
  ac: 32,
  meterCellLow: 64,
  clipped: 128, // the format's end value, which means "this or more" / "this or less"
} as const;

export const NOT_LIVE = FLAG.none | FLAG.overload | FLAG.hold | FLAG.relative | FLAG.minMax | FLAG.ac;

export function isLive(flags: number): boolean {
  return (flags & NOT_LIVE) === 0;
}

/**
 * What the display showed: `counts` x 10^`scale`, so 12.630 V is 12630 and -3. `counts` is a safe integer,
 * except where `scale` is FLOAT32 or FLOAT64.
 */
export interface Reading {
  readonly quantity: Quantity;
  readonly counts: number;
  readonly scale: number;
  readonly flags: number;
  /** Averaging time that the meter itself stated for this value, seconds. */
  readonly apertureS?: number;
}

/** The value in the quantity's unit, as the nearest double. */
export function valueOf(counts: number, scale: number): number {
  if (scale === FLOAT32 || scale === FLOAT64) return counts;
  // Dividing by an exact power of ten rounds once; multiplying by 10^-n would round twice.
  return scale < 0 ? counts / POWERS[-scale]! : counts * POWERS[scale]!;
}
/** Looked up, because this is done for every sample of a month. */
const POWERS = Float64Array.from({ length: 129 }, (_, n) => 10 ** n);

/** The same value as decimal text with the meter's own digits: (12630, -3) is "12.630". */
export function textOf(counts: number, scale: number): string {
  if (scale === FLOAT32 || scale === FLOAT64) return String(counts);
  if (scale >= 0) return String(counts) + (counts === 0 ? '' : '0'.repeat(scale));
  const digits = String(Math.abs(counts)).padStart(1 - scale, '0');
  const sign = counts < 0 || Object.is(counts, -0) ? '-' : '';
  return `${sign}${digits.slice(0, scale)}.${digits.slice(scale)}`;
}

/** Beyond every meter: the widest format in use, a 24-bit count of 1/64 V, ends at 262 kV. */
const ABSURD = 1e9;

/**
 * Formats with an exponent of their own can say 10^37 volts; no meter means it.
 * @throws DriverError bad-field
 */
export function plausible<T extends { readonly counts: number; readonly scale: number }>(number: T): T {
  if (Math.abs(valueOf(number.counts, number.scale)) > ABSURD) {
    throw new DriverError('bad-field', 'The figure is beyond any meter.');
  }
  return number;
}
