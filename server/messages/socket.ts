import { z } from 'zod';
import { errorBodySchema } from './errors.ts';
import { meterSchema } from './meters.ts';
import { GAP_REASONS, idSchema, meterKeySchema, quantitySchema, recordingSchema } from './records.ts';
import { wireColumnsSchema } from './wire.ts';

/** Messages of the one socket namespace. Each is parsed with its schema on arrival, on both sides. */

// ---- page to server; each is answered through its acknowledgement ----

/** "clock": answered with the server's clocks, so that the page can place its own readings on them. */
export const clockReplySchema = z.strictObject({ nowMs: z.number(), utcMs: z.number() });

/** "announce": meters that are connected in this page; replaces what this socket announced before. */
export const announceSchema = z.array(meterSchema).max(16);

/**
 * "batch": readings of one page meter for one recording. Numbers start at 1 for each recording and meter and
 * rise by 1; the server acknowledges a number once its samples are durable, drops doubles, and answers
 * `expected` where one is missing. Times are milliseconds from the recording's start.
 */
export const batchSchema = z.strictObject({
  recordingId: idSchema,
  meterKey: meterKeySchema,
  number: z.int().positive(),
  parts: z.array(z.strictObject({ key: z.string().min(1).max(60), samples: wireColumnsSchema })).max(16),
  gaps: z
    .array(
      z.strictObject({
        key: z.string().min(1).max(60),
        startMs: z.number(),
        endMs: z.number(),
        reason: z.enum(GAP_REASONS),
      }),
    )
    .max(64)
    .default([]),
  events: z
    .array(
      z.strictObject({
        atMs: z.number(),
        kind: z.enum(['clock-step', 'meter-connected', 'meter-dropped', 'bad-frame', 'note']),
        text: z.string().max(400),
        value: z.number().nullable(),
      }),
    )
    .max(64)
    .default([]),
});
export type Batch = z.infer<typeof batchSchema>;

export const batchReplySchema = z.union([
  /** Durable: everything up to and including `upTo`. */
  z.strictObject({ ok: z.literal(true), upTo: z.int().nonnegative() }),
  /** Not stored: send again from `expected`, or wait and retry when `error` says so. */
  z.strictObject({ ok: z.literal(false), expected: z.int().positive().nullable(), error: errorBodySchema }),
]);
export type BatchReply = z.infer<typeof batchReplySchema>;

/** "relay": readings of a page meter that is not being recorded, for other screens; not stored, not numbered. */
export const readingsSchema = z.strictObject({
  meterKey: meterKeySchema,
  channels: z
    .array(
      z.strictObject({
        key: z.string().min(1).max(60),
        quantity: quantitySchema,
        /** The server's `nowMs`. */
        t: z.array(z.number()).max(2000),
        value: z.array(z.number().nullable()).max(2000),
        text: z.string().max(40),
        flags: z.array(z.int().min(0).max(0xffff)).max(2000),
      }),
    )
    .max(16),
});
export type Readings = z.infer<typeof readingsSchema>;

// ---- server to page ----
// "readings": Readings of any meter, 30 times a second where it sends that often.
// "meters":   the whole list, when it changed.
// "recording": one recording, when it changed.
// "notice":   something to show.
export const noticeSchema = z.strictObject({
  level: z.enum(['info', 'warning', 'error']),
  text: z.string().max(400),
});
export type Notice = z.infer<typeof noticeSchema>;

/** "recording" carries the start on the server's clock, so that a page meter can place its readings. */
export const recordingMessageSchema = z.strictObject({
  recording: recordingSchema,
  startNowMs: z.number().nullable(),
});
export type RecordingMessage = z.infer<typeof recordingMessageSchema>;
