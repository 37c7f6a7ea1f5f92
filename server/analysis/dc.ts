import { accuracyLimit, combine, typeB } from './accuracy.ts';
import type { Accuracy } from './input.ts';

/** What a meter's steady errors do to a mean of many readings. */
export interface MeterErrors {
  readonly accuracy: Accuracy | null;
  readonly resolution: number | null;
  readonly noise: number;
}

/**
 * Standard uncertainty of a mean from the display's rounding alone. Noise carries a mean across the steps of
 * the display: the bias that is left has amplitude (d / pi) exp(-2 pi^2 s^2 / d^2) for noise s and digit d
 * (dithered quantiser, first harmonic); with no noise it is half a digit either way.
 */
export function roundingOfMean(m: MeterErrors): number {
  const d = m.resolution ?? 0;
  if (d === 0) return 0;
  const ratio = m.noise / d;
  if (ratio < 0.3) return d / Math.sqrt(12);
  return Math.min(d / Math.sqrt(12), ((d / Math.PI) * Math.exp(-2 * Math.PI ** 2 * ratio ** 2)) / Math.SQRT2);
}

/** Type B standard uncertainty of a mean at `value`: stated accuracy where there is one, and rounding. */
export function meterUncertainty(value: number, m: MeterErrors): number {
  const stated = m.accuracy === null ? 0 : typeB(accuracyLimit(value, m.accuracy, m.resolution ?? 0));
  return combine(stated, roundingOfMean(m));
}

/** The same for a difference of two levels: the digits of the specification cancel, the gain does not. */
export function gainUncertainty(difference: number, m: MeterErrors): number {
  const stated = m.accuracy === null ? 0 : typeB((Math.abs(difference) * m.accuracy.percent) / 100);
  return stated;
}
