import { z } from 'zod';
import { checklistSchema } from './checklist.ts';
import { analysisOptionsSchema } from './findings.ts';
import { recordedMeterSchema } from './meterRecord.ts';
import { bluetoothStatusSchema, meterSchema } from './meters.ts';
import {
  ATTEMPT_OUTCOMES,
  caseSchema,
  eventSchema,
  gapSchema,
  idSchema,
  meterKeySchema,
  quantitySchema,
  recordingSchema,
  RECORDING_KINDS,
} from './records.ts';
import { zeroCheckSchema } from './zeroCheck.ts';

/** Bodies and queries of the HTTP routes under /api; DEVELOPERS.md lists the routes. */

export const statusSchema = z.strictObject({
  name: z.literal('nightdraw'),
  version: z.string(),
  bluetooth: bluetoothStatusSchema,
  virtualCar: z.strictObject({ running: z.boolean() }),
  /** Room where the recordings are kept; null where the system does not say. */
  disk: z.strictObject({ freeBytes: z.number().nonnegative() }).nullable().optional(),
});
export type Status = z.infer<typeof statusSchema>;

export const startRecordingSchema = z.strictObject({
  caseId: idSchema.nullable().default(null),
  kind: z.enum(RECORDING_KINDS).exclude(['imported']),
  title: z.string().trim().min(1).max(120),
  zone: z.string().max(60).nullable().default(null),
  meters: z.array(meterKeySchema).min(1).max(16),
  /** What was seen to beforehand. */
  checklist: checklistSchema.nullable().optional(),
});
export type StartRecording = z.infer<typeof startRecordingSchema>;

/** Moves a recording to a case, or out of one. */
export const moveRecordingSchema = z.strictObject({ caseId: idSchema.nullable() });

export const recordingDetailSchema = z.strictObject({
  recording: recordingSchema,
  events: z.array(eventSchema),
  gaps: z.array(gapSchema),
  /** Of the meters that had one when the recording began. */
  meters: z.array(recordedMeterSchema).optional(),
  zeroChecks: z.array(zeroCheckSchema).optional(),
  checklist: checklistSchema.nullable().optional(),
});
export type RecordingDetail = z.infer<typeof recordingDetailSchema>;

export const addEventSchema = z.strictObject({
  kind: z.enum(['attempt', 'note']),
  text: z.string().trim().max(400),
  /** Of an attempt. */
  outcome: z.enum(ATTEMPT_OUTCOMES).nullable().optional(),
  /** When it happened, on the server's `nowMs`; absent: now. */
  nowMs: z.number().optional(),
});
export type AddEvent = z.infer<typeof addEventSchema>;

/** Takes the threshold of a case's tries over as this car's own, or gives it back. */
export const takeThresholdSchema = z.strictObject({ take: z.boolean() });

export const importQuerySchema = z.object({ name: z.string().max(200), case: idSchema.optional() });

export const chartQuerySchema = z.object({
  fromS: z.coerce.number().optional(),
  toS: z.coerce.number().optional(),
  buckets: z.coerce.number().int().min(10).max(4000).default(1200),
});

/**
 * Extremes per bucket, so that no peak is lost: for each bucket that holds a live sample its middle time
 * and lowest and highest value; where samples are fewer than buckets, each sample is its own bucket.
 */
export const chartSchema = z.strictObject({
  fromS: z.number(),
  toS: z.number(),
  channels: z.array(
    z.strictObject({
      channelId: z.int().positive(),
      quantity: quantitySchema,
      label: z.string(),
      raw: z.boolean(),
      t: z.array(z.number()),
      min: z.array(z.number()),
      max: z.array(z.number()),
    }),
  ),
});
export type Chart = z.infer<typeof chartSchema>;

/** Query of the findings route: the options in text form; what is absent comes from the case. */
export const findingsQuerySchema = z.object({
  capacityAh: z.coerce.number().optional(),
  chemistry: analysisOptionsSchema.shape.chemistry,
  temperatureC: z.coerce.number().optional(),
  meterAccuracy: z.string().max(40).optional(),
  apertureMs: z.coerce.number().optional(),
  thresholdV: z.coerce.number().optional(),
  drawLimitA: z.coerce.number().optional(),
});

export const caseListSchema = z.array(caseSchema);
export const recordingListSchema = z.array(recordingSchema);
export const meterListSchema = z.array(meterSchema);
export const scanRequestSchema = z.strictObject({ seconds: z.number().min(1).max(120).default(15) });
export const virtualCarRequestSchema = z.strictObject({
  action: z.enum(['start', 'stop', 'touch-handle', 'wake']),
});
