import { accuracyLimit, combine, typeB } from './accuracy.ts';
import type { Accuracy, Calibration, ChannelInput, RangeAccuracy } from './input.ts';
import { zeroOf } from './zero.ts';

/** What a meter's steady errors do to a mean of many readings. */
export interface MeterErrors {
  readonly accuracy: Accuracy | null;
  readonly resolution: number | null;
  readonly noise: number;
  /** The data sheet's ranges, rising; they stand before `accuracy`. */
  readonly ranges?: readonly RangeAccuracy[];
  readonly calibration?: Calibration | null;
  /** Standard uncertainty of the zero that was taken off. */
  readonly zeroU?: number;
  /** How far the zero, or the load, wandered over the night without a step: half-width of its limits. */
  readonly wander?: number;
  /** Deviation of the readings about their mean before the display rounded them; default: the noise. */
  readonly dither?: number;
}

export type MeterOfChannel = Pick<MeterErrors, 'accuracy' | 'ranges' | 'calibration' | 'zeroU'>;

/** What a channel's own facts say of its meter. */
export function meterOf(
  c: Pick<ChannelInput, 'accuracy' | 'ranges' | 'calibration' | 'zeroChecks'>,
): MeterOfChannel {
  return {
    accuracy: c.accuracy,
    ranges: c.ranges ?? [],
    calibration: c.calibration ?? null,
    zeroU: zeroOf(c.zeroChecks ?? [])?.standardU ?? 0,
  };
}

const HARMONICS = 12;

/**
 * Standard uncertainty of a mean from the display's rounding alone. Noise carries a mean across the steps of the
 * display: what is left of the rounding error, a saw-tooth over the digit d, are its harmonics k of amplitude
 * (d / (pi k)) exp(-2 pi^2 k^2 s^2 / d^2) for noise s (dithered quantiser); without noise d / sqrt 12.
 */
export function roundingOfMean(m: MeterErrors): number {
  const d = m.resolution ?? 0;
  if (d === 0) return 0;
  const ratio = (m.dither ?? m.noise) / d;
  let squares = 0;
  for (let k = 1; k <= HARMONICS; k++) squares += (Math.exp(-2 * (Math.PI * k * ratio) ** 2) / k) ** 2;
  return (d / Math.PI) * Math.sqrt(squares / 2);
}

/** Type B standard uncertainty of a mean at `value`: data sheet, certificate, zero, wander and rounding. */
export function meterUncertainty(value: number, m: MeterErrors): number {
  const { accuracy, digit } = rangeAt(value, m);
  return combine(
    accuracy === null ? 0 : typeB(accuracyLimit(value, accuracy, digit)),
    m.calibration?.fixed ?? 0,
    (m.calibration?.relative ?? 0) * Math.abs(value),
    m.zeroU ?? 0,
    typeB(m.wander ?? 0),
    roundingOfMean(m),
  );
}

/** The same for a difference of two levels: the digits of the specification and the zero cancel, the gain does not. */
export function gainUncertainty(difference: number, m: MeterErrors): number {
  const { accuracy } = rangeAt(difference, m);
  const size = Math.abs(difference);
  return combine(
    accuracy === null ? 0 : typeB((size * accuracy.percent) / 100),
    (m.calibration?.relative ?? 0) * size,
  );
}

/** The line of the data sheet that holds at a value. */
function rangeAt(value: number, m: MeterErrors): { accuracy: Accuracy | null; digit: number } {
  const ranges = m.ranges ?? [];
  const own = ranges.find((r) => Math.abs(value) <= r.upTo) ?? ranges[ranges.length - 1];
  if (own === undefined) return { accuracy: m.accuracy, digit: m.resolution ?? 0 };
  return { accuracy: own.accuracy, digit: own.digit ?? m.resolution ?? 0 };
}

const LOOKS = 4096;
/** Nearly all readings on two neighbouring counts: the noise does not carry the mean across the steps. */
const TWO_COUNTS = 0.98;

/**
 * Deviation of quiet readings before rounding, from their scatter about `level`: what the scatter has beyond the
 * rounding's own d^2 / 12 (Sheppard's correction), and none where readings hardly leave two counts.
 */
export function ditherOf(y: Float64Array, from: number, level: number, resolution: number | null): number {
  const d = resolution ?? 0;
  if (d === 0) return 0;
  const step = Math.max(1, Math.floor((y.length - from) / LOOKS));
  const counts = new Map<number, number>();
  let n = 0;
  let sum = 0;
  let squares = 0;
  for (let i = from; i < y.length; i += step) {
    const e = (y[i]! - level) / d;
    if (Math.abs(e) > 3) continue;
    const count = Math.round(y[i]! / d);
    counts.set(count, (counts.get(count) ?? 0) + 1);
    n++;
    sum += e;
    squares += e * e;
  }
  if (n < 8) return 0;
  let two = 0;
  for (const [count, k] of counts) two = Math.max(two, k + (counts.get(count + 1) ?? 0));
  if (two > TWO_COUNTS * n) return 0;
  return d * Math.sqrt(Math.max(0, squares / n - (sum / n) ** 2 - 1 / 12));
}
