import { z } from 'zod';
import { estimateSchema } from './findings.ts';
import { ATTEMPT_OUTCOMES, idSchema, measuredThresholdSchema, THRESHOLD_METHODS } from './records.ts';

/** Tries at the handle, and the voltage below which this car's passive entry stops answering. */

/** Whether passive entry did its part; null where the try says nothing about it. */
export const OUTCOME_WORKED: Readonly<Record<(typeof ATTEMPT_OUTCOMES)[number], boolean>> = {
  opened: true,
  'button-only': false,
  'locked-by-touch': true,
  nothing: false,
};

/** What the supply did around one try, measured from the samples. Null where the readings do not carry it. */
export const dipSchema = z.strictObject({
  /** The voltage just before the try. */
  restV: estimateSchema,
  /** The lowest reading of the dip; a slow meter shows less than the battery gave. */
  lowestV: z.number().nullable(),
  depthV: estimateSchema,
  /** From the lowest reading until the voltage has come back by nine tenths of the dip. */
  recoveryS: estimateSchema,
  /** The largest current above that before the try, and what the voltage lost a step of it. */
  peakA: estimateSchema,
  sourceResistanceOhm: estimateSchema,
  /** What the readings do not carry, in words. */
  notes: z.array(z.string()),
});
export type Dip = z.infer<typeof dipSchema>;

export const thresholdSchema = z.strictObject({
  /** bracket: every failure lies below every success; logistic: maximum likelihood; none: the tries carry no figure. */
  method: z.enum(THRESHOLD_METHODS),
  /** Where half of the tries work. */
  thresholdV: estimateSchema,
  /** The highest voltage up to which every try failed, and the lowest from which on every try worked. */
  bracketV: z.tuple([z.number().nullable(), z.number().nullable()]),
  /** Of log-odds = intercept + slope x voltage; null where the likelihood has no maximum. */
  intercept: z.number().nullable(),
  slope: z.number().nullable(),
  /** Limits of the threshold, about 95 %, by profile likelihood. */
  intervalV: z.tuple([z.number(), z.number()]).nullable(),
  /** Chance of tries at least so orderly if the voltage did not matter (exact, one-sided); null: not worked out. */
  chance: z.number().nullable(),
  tries: z.int().nonnegative(),
  worked: z.int().nonnegative(),
  /** What the tries prove and what not, a sentence each. */
  says: z.array(z.string()),
});
export type Threshold = z.infer<typeof thresholdSchema>;

export const caseAttemptSchema = z.strictObject({
  recordingId: idSchema,
  recordingTitle: z.string(),
  atS: z.number(),
  /** UTC, where the recording has a start. */
  at: z.iso.datetime().nullable(),
  outcome: z.enum(ATTEMPT_OUTCOMES).nullable(),
  text: z.string(),
  dip: dipSchema.nullable(),
});
export type CaseAttempt = z.infer<typeof caseAttemptSchema>;

/** All tries of a case, in order of time, and what they say together. */
export const caseAttemptsSchema = z.strictObject({
  /** Null: of one recording that belongs to no case. */
  caseId: idSchema.nullable(),
  attempts: z.array(caseAttemptSchema),
  threshold: thresholdSchema,
  measured: measuredThresholdSchema.nullable(),
});
export type CaseAttempts = z.infer<typeof caseAttemptsSchema>;
