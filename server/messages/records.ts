import { z } from 'zod';
import { askedSchema, batterySchema, fobsSchema, mileageSchema } from './car.ts';

export { batterySchema, type Battery } from './car.ts';

/** What the store keeps besides samples, as the page and the commands see it. */

export const idSchema = z.string().regex(/^[a-z0-9]{4,32}$/);
/** A meter's key: "server:<id>", "page:<id>" or "virtual:<name>". */
export const meterKeySchema = z.string().regex(/^(server|page|virtual|file):[\w:.-]{1,120}$/);
const shortText = z.string().trim().max(120);
const longText = z.string().trim().max(4000);
const ms = z.number();

export const caseInputSchema = z.strictObject({
  title: shortText.min(1),
  plateOrVin: shortText.default(''),
  complaint: longText.default(''),
  notes: longText.default(''),
  battery: batterySchema.nullable().default(null),
  thresholdV: z.number().positive().max(60).nullable().default(null),
  drawLimitA: z.number().positive().max(100).nullable().default(null),
  /** Who asked for it, for example the customer or the desk. */
  askedBy: shortText.default(''),
  mileage: mileageSchema.nullable().default(null),
  fobs: fobsSchema.nullable().default(null),
  /** What normal use could explain; null: nothing asked yet. */
  asked: askedSchema.nullable().default(null),
});
export type CaseInput = z.infer<typeof caseInputSchema>;

export const THRESHOLD_METHODS = ['none', 'bracket', 'logistic'] as const;

/** A threshold that a person took over from the tries; it stands before any other in this car's findings. */
export const measuredThresholdSchema = z.strictObject({
  thresholdV: z.number().positive().max(60),
  expandedUncertaintyV: z.number().nonnegative(),
  method: z.enum(THRESHOLD_METHODS),
  tries: z.int().positive(),
  takenAt: z.iso.datetime(),
});
export type MeasuredThreshold = z.infer<typeof measuredThresholdSchema>;

export const caseSchema = caseInputSchema.extend({
  measuredThreshold: measuredThresholdSchema.nullable().optional(),
  id: idSchema,
  createdAt: z.iso.datetime(),
  demo: z.boolean(),
  recordings: z.int().nonnegative(),
  /** Put aside; it is still found. */
  archivedAt: z.iso.datetime().nullable().optional(),
  /** Deleted; can be brought back until it is removed for good. */
  deletedAt: z.iso.datetime().nullable().optional(),
});
export type Case = z.infer<typeof caseSchema>;

export const QUANTITIES = ['current', 'voltage', 'temperature'] as const;
export const quantitySchema = z.enum(QUANTITIES);

export const channelInputSchema = z.strictObject({
  meterKey: meterKeySchema,
  meterName: shortText,
  driver: shortText,
  /** The channel's key within its meter. */
  key: z.string().min(1).max(60),
  quantity: quantitySchema,
  label: shortText,
  apertureMs: z.number().positive().nullable(),
  /** The display's last digit in the quantity's unit, where the meter's format has one. */
  step: z.number().positive().nullable().optional(),
});
export type ChannelInput = z.infer<typeof channelInputSchema>;

export const channelSchema = channelInputSchema.extend({
  id: z.int().positive(),
  samples: z.int().nonnegative(),
});
export type Channel = z.infer<typeof channelSchema>;

export const GAP_REASONS = [
  'dropped',
  'meter-ended', // the meter ended the connection itself, as it does when it switches itself off
  'silent',
  'packet-lost', // the meter numbers its packets, and one did not arrive
  'disk-full',
  'server-down',
  'computer-slept',
  'link-died',
  'overrun',
  'damaged', // stored samples that can no longer be read
  'unknown',
] as const;
export const gapSchema = z.strictObject({
  channelId: z.int().positive(),
  startMs: ms,
  endMs: ms,
  reason: z.enum(GAP_REASONS),
});
export type Gap = z.infer<typeof gapSchema>;

export const EVENT_KINDS = [
  'started',
  'stopped',
  'clock-step',
  'meter-connected',
  'meter-dropped',
  'bad-frame',
  'server-restarted',
  'disk-full',
  'attempt',
  'note',
  'warning', // what an overnight test warned of
] as const;

/** How one try at the handle went. */
export const ATTEMPT_OUTCOMES = ['opened', 'button-only', 'locked-by-touch', 'nothing'] as const;
export type AttemptOutcome = (typeof ATTEMPT_OUTCOMES)[number];

export const eventSchema = z.strictObject({
  atMs: ms,
  kind: z.enum(EVENT_KINDS),
  text: longText,
  /** For a clock step: its size in milliseconds. */
  value: z.number().nullable(),
  /** Of an attempt; absent where nobody said how it went. */
  outcome: z.enum(ATTEMPT_OUTCOMES).nullable().optional(),
});
export type RecordingEvent = z.infer<typeof eventSchema>;

export const RECORDING_KINDS = ['live-watch', 'overnight-test', 'imported'] as const;
export const recordingSchema = z.strictObject({
  id: idSchema,
  caseId: idSchema.nullable(),
  kind: z.enum(RECORDING_KINDS),
  title: shortText,
  state: z.enum(['recording', 'stopped']),
  startedAt: z.iso.datetime().nullable(),
  zone: z.string().max(60).nullable(),
  durationMs: z.number().nonnegative(),
  provenance: longText,
  channels: z.array(channelSchema),
});
export type Recording = z.infer<typeof recordingSchema>;
