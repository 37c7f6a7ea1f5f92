import type { Quantity } from '../../drivers/core/reading.ts';

/**
 * A data sheet's accuracy: plus or minus (`percent` of reading + `digits` of the last place), for example
 * 0.5 % + 3. Null where nobody stated it.
 */
export interface Accuracy {
  readonly percent: number;
  readonly digits: number;
}

/** The data sheet's line for one range of the meter: it holds for readings up to `upTo`, in the channel's unit. */
export interface RangeAccuracy {
  readonly upTo: number;
  readonly accuracy: Accuracy;
  /** The range's last digit, in the channel's unit; null: the channel's own. */
  readonly digit: number | null;
}

/** What a meter showed with nothing to measure: the mean of some readings and its standard uncertainty. */
export interface ZeroCheck {
  /** Seconds from the recording's start; negative for a check before it. */
  readonly atS: number;
  /** In the channel's unit, with the sign that the readings have. */
  readonly value: number;
  readonly standardUncertainty: number;
}

/**
 * A calibration certificate's statement, as standard uncertainties (expanded uncertainty over its k): a part
 * that does not depend on the reading, in the channel's unit, and one that is proportional to it.
 */
export interface Calibration {
  readonly fixed: number;
  readonly relative: number;
}

/** One channel's live samples: `t` in seconds from the recording's start, `y` in A, V or degC, equal lengths. */
export interface ChannelInput {
  readonly quantity: Quantity;
  readonly unit: string;
  readonly t: Float64Array;
  readonly y: Float64Array;
  /** The display's last digit in the channel's unit, where the recording knows it; else it is estimated. */
  readonly resolution: number | null;
  /** Integration time of one reading, seconds; null when nobody stated it. */
  readonly apertureS: number | null;
  readonly accuracy: Accuracy | null;
  /** The data sheet's ranges, rising; where given they stand before `accuracy`. */
  readonly ranges?: readonly RangeAccuracy[];
  /** Zero checks before and after; between two the zero is interpolated and taken off the readings. */
  readonly zeroChecks?: readonly ZeroCheck[];
  readonly calibration?: Calibration | null;
  /** Gaps that the recording itself knows of, beyond what the times show. */
  readonly gaps: readonly { readonly startS: number; readonly endS: number }[];
}

export interface NightInput {
  readonly startedAt: string | null;
  /** Null: the span of the samples. */
  readonly durationS: number | null;
  readonly channels: readonly ChannelInput[];
  readonly clockSteps: readonly { readonly atS: number; readonly stepS: number }[];
}
