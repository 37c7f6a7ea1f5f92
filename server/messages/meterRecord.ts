import { z } from 'zod';
import { meterKeySchema, quantitySchema } from './records.ts';

/** What is known of one meter beyond what it sends: its label, its data sheet and its calibration certificate. */

const shortText = z.string().trim().max(120);

/** The channel's unit: V, A or degrees Celsius. */
const inUnit = z.number().positive().max(1e6);

/**
 * The data sheet's line for one range: plus or minus (`percent` of reading + `digits` of the last place), for
 * readings up to `upTo`. `digit` is what one step of the last place is worth in that range; null: as the
 * readings show.
 */
export const rangeAccuracySchema = z.strictObject({
  quantity: quantitySchema,
  upTo: inUnit,
  percent: z.number().min(0).max(100),
  digits: z.number().min(0).max(1000),
  digit: inUnit.nullable().default(null),
});
export type RangeAccuracyLine = z.infer<typeof rangeAccuracySchema>;

/** The certificate's uncertainty of one quantity: expanded, as printed, `fixed` in the unit + `percent` of reading. */
export const certificateLineSchema = z.strictObject({
  quantity: quantitySchema,
  fixed: z.number().min(0).max(1e6),
  percent: z.number().min(0).max(100),
  /** Coverage factor of the expanded uncertainty. */
  k: z.number().min(1).max(5).default(2),
  /** In the certificate's own words, for example "+0.03 V at 12 V" or "within specification". */
  asFound: shortText.default(''),
  asLeft: shortText.default(''),
});
export type CertificateLine = z.infer<typeof certificateLineSchema>;

export const certificateSchema = z.strictObject({
  number: shortText.min(1),
  date: z.iso.date(),
  laboratory: shortText.default(''),
  lines: z.array(certificateLineSchema).max(8).default([]),
});
export type Certificate = z.infer<typeof certificateSchema>;

/** A question for a meter that answers on request: ASCII, without its line end. */
export const querySchema = z.strictObject({
  text: z.string().regex(/^[\x20-\x7e]{1,60}$/, 'letters, digits and signs of plain English text'),
  intervalMs: z.number().min(20).max(60_000),
});

/** Edited on the Meters page; kept under the meter's key. */
export const meterRecordSchema = z.strictObject({
  /** The workshop's own name for it, for example "clamp 2"; empty: as the meter calls itself. */
  name: shortText.default(''),
  maker: shortText.default(''),
  model: shortText.default(''),
  serial: shortText.default(''),
  firmware: shortText.default(''),
  /** By quantity, then rising. */
  accuracy: z.array(rangeAccuracySchema).max(32).default([]),
  /** Averaging time of one reading as the data sheet states it, milliseconds. */
  apertureMs: z.number().positive().max(60_000).nullable().default(null),
  /** Readings a second as the data sheet states it. */
  ratePerS: z.number().positive().max(100_000).nullable().default(null),
  calibration: certificateSchema.nullable().default(null),
  /** For a meter that answers on request. */
  query: querySchema.nullable().default(null),
  /** What a bare number in a line of text means. */
  unitless: quantitySchema.nullable().default(null),
});
export type MeterRecord = z.infer<typeof meterRecordSchema>;

export const keptMeterRecordSchema = z.strictObject({
  meterKey: meterKeySchema,
  record: meterRecordSchema,
  changedAt: z.iso.datetime(),
});
export type KeptMeterRecord = z.infer<typeof keptMeterRecordSchema>;
export const keptMeterRecordListSchema = z.array(keptMeterRecordSchema);

/** The record as it was when the recording began; later edits do not change it. */
export const recordedMeterSchema = z.strictObject({ meterKey: meterKeySchema, record: meterRecordSchema });
export type RecordedMeterRecord = z.infer<typeof recordedMeterSchema>;

/** What a form that nobody has filled in holds. */
export const EMPTY_METER_RECORD: MeterRecord = meterRecordSchema.parse({});
