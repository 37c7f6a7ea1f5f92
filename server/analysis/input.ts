import type { Quantity } from '../../drivers/core/reading.ts';

/**
 * A data sheet's accuracy: plus or minus (`percent` of reading + `digits` of the last place), for example
 * 0.5 % + 3. Null where nobody stated it.
 */
export interface Accuracy {
  readonly percent: number;
  readonly digits: number;
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
