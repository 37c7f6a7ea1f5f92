import { z } from 'zod';
import { idSchema } from './records.ts';

/** What an overnight test watches for while nobody is there. */

export const WARNING_CODES = ['battery-low', 'meter-quiet', 'still-awake', 'disk-low'] as const;
export type WarningCode = (typeof WARNING_CODES)[number];

const webAddress = z
  .url({ protocol: /^https?$/ })
  .max(500)
  .refine((text) => !/^[a-z]+:\/\/[^/]*@/i.test(text), 'without a user name or password');

/** Null switches a warning off. */
export const watchSettingsSchema = z.strictObject({
  floorV: z.number().min(1).max(60).nullable().default(11.8),
  quietS: z.number().min(10).max(86_400).nullable().default(120),
  awakeAfterS: z
    .number()
    .min(60)
    .max(7 * 86_400)
    .nullable()
    .default(5400),
  diskFreeMb: z.number().min(1).max(10_000_000).nullable().default(500),
  /** Each warning is sent here as JSON; null: nowhere. */
  webhook: webAddress.nullable().default(null),
});
export type WatchSettings = z.infer<typeof watchSettingsSchema>;

export const warningSchema = z.strictObject({
  code: z.enum(WARNING_CODES),
  /** Of a quiet meter: which; else empty. */
  subject: z.string().max(160),
  /** When it began, milliseconds from the recording's start. */
  atMs: z.number(),
  text: z.string().max(400),
});
export type Warning = z.infer<typeof warningSchema>;

/** What the server says of a running recording; worked out anew each minute. */
export const watchReportSchema = z.strictObject({
  recordingId: idSchema,
  /** Null: not armed. The address of the webhook is not told, only its host. */
  armed: watchSettingsSchema
    .omit({ webhook: true })
    .extend({ webhookHost: z.string().nullable() })
    .nullable(),
  /** The night in one sentence, for example "Asleep since 22:41, 31 mA, polling every 0.76 s."; empty before the first look. */
  glance: z.string(),
  glanceAt: z.iso.datetime().nullable(),
  /** Those that hold now. */
  warnings: z.array(warningSchema),
  /** How the last message to the webhook went; empty where none was sent. */
  webhook: z.string(),
});
export type WatchReport = z.infer<typeof watchReportSchema>;

/** Null disarms. A webhook that is left out stays as it was. */
export const armSchema = z.strictObject({
  settings: watchSettingsSchema.extend({ webhook: webAddress.nullable().optional() }).nullable(),
});

export const webhookTestSchema = z.strictObject({ ok: z.boolean(), sentence: z.string() });

/** The body that a webhook receives. */
export const webhookBodySchema = z.strictObject({
  schema: z.literal('nightdraw.warning/1'),
  recording: z.strictObject({ id: idSchema, title: z.string() }),
  at: z.iso.datetime(),
  warning: warningSchema.omit({ atMs: true }).nullable(),
  /** True of a message that a person sent to try the address. */
  test: z.boolean(),
});
export type WebhookBody = z.infer<typeof webhookBodySchema>;
