import type { Accuracy } from './input.ts';

/**
 * A data sheet's accuracy text: "0.5%+3", "±(1.0 % + 5 digits)", "2.5% + 3 dgt", "1%", decimal comma allowed.
 * Null when the text is not in that form.
 */
export function parseAccuracy(text: string): Accuracy | null {
  const plain = text
    .replace(/,/g, '.')
    .replace(/±|\+\/-|\+-/g, '')
    .replace(/[()]/g, '')
    .replace(/\s+/g, '')
    .toLowerCase()
    .replace(/(digits?|dgts?|dgs?|counts?|d|lsd)$/, '');
  const match = /^(\d+(?:\.\d+)?)%(?:(?:of)?(?:reading|rdg))?(?:\+(\d+))?$/.exec(plain);
  if (match === null) return null;
  return { percent: Number(match[1]), digits: match[2] === undefined ? 0 : Number(match[2]) };
}

/** Half-width of the data sheet's limits around a value, in the value's unit. */
export function accuracyLimit(value: number, accuracy: Accuracy, digit: number): number {
  return (Math.abs(value) * accuracy.percent) / 100 + accuracy.digits * digit;
}

/**
 * Type B standard uncertainty of a stated limit: a rectangular distribution of half-width a, u = a / sqrt 3
 * (JCGM 100:2008, 4.3.7). It is common to all readings, so averaging does not shrink it.
 */
export function typeB(limit: number): number {
  return limit / Math.sqrt(3);
}

/** Standard uncertainty of one reading's resolution: half a digit either way (JCGM 100:2008, F.2.2.1). */
export function resolutionUncertainty(digit: number): number {
  return digit / Math.sqrt(12);
}

/** Standard uncertainty of a mean of n independent readings (JCGM 100:2008, 4.2.3). */
export function typeA(deviation: number, n: number): number {
  return n > 0 ? deviation / Math.sqrt(n) : Infinity;
}

/** Root sum of squares of independent contributions. */
export function combine(...parts: readonly number[]): number {
  return Math.hypot(...parts);
}

/** Coverage factor for about 95 % (JCGM 100:2008, 6.2.1 and G.6.6). */
export const COVERAGE = 2;

export interface Figure {
  readonly value: number;
  readonly expandedUncertainty: number;
}

/** A figure with its expanded uncertainty from standard contributions, or null when it is not a number. */
export function figure(value: number, ...standard: readonly number[]): Figure | null {
  const expandedUncertainty = COVERAGE * combine(...standard);
  return Number.isFinite(value) && Number.isFinite(expandedUncertainty)
    ? { value, expandedUncertainty }
    : null;
}
