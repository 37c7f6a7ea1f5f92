import { z } from 'zod';
import { idSchema, meterKeySchema, quantitySchema } from './records.ts';

/**
 * What a clamp showed with nothing to measure (closed on nothing), or a voltmeter with its leads joined: a few
 * seconds of live readings, averaged.
 */
export const zeroCheckSchema = z.strictObject({
  meterKey: meterKeySchema,
  /** The channel's key within its meter. */
  key: z.string().min(1).max(60),
  quantity: quantitySchema,
  takenAt: z.iso.datetime(),
  /** The middle of the check, milliseconds from the recording's start; negative before it. */
  atMs: z.number(),
  durationMs: z.number().positive(),
  readings: z.int().positive(),
  /** Mean, in A, V or degrees, with the sign that the readings have. */
  mean: z.number(),
  /** Standard deviation of the single readings. */
  scatter: z.number().nonnegative(),
  /** Of the mean: from scatter and the last digit. */
  standardUncertainty: z.number().nonnegative(),
});
export type ZeroCheck = z.infer<typeof zeroCheckSchema>;

/** A check that is not part of a recording yet. */
export const heldZeroCheckSchema = zeroCheckSchema.omit({ atMs: true });
export type HeldZeroCheck = z.infer<typeof heldZeroCheckSchema>;

/**
 * Asks for a check of a connected meter. Without a recording the result waits for the next one of this meter;
 * with one (which must be stopped) it is the check after it.
 */
export const zeroCheckRequestSchema = z.strictObject({
  seconds: z.number().min(1).max(60).default(5),
  recordingId: idSchema.nullable().default(null),
});
export type ZeroCheckRequest = z.infer<typeof zeroCheckRequestSchema>;

export const heldZeroCheckListSchema = z.array(heldZeroCheckSchema);

/** A check before is used by a recording that starts within so long of it. */
export const ZERO_CHECK_HOLDS_MS = 2 * 60 * 60 * 1000;
