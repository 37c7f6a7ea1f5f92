import { z } from 'zod';
import { meterKeySchema } from './records.ts';

/** One notification of a meter that is being taught. */
export const rawFrameSchema = z.strictObject({
  service: z.string().max(36),
  characteristic: z.string().max(36),
  /** Arrival on the server's `nowMs`, or on the page's own clock for a meter of the page. */
  atMs: z.number(),
  hex: z
    .string()
    .regex(/^([0-9a-f]{2})*$/)
    .max(1024),
});
export type RawFrame = z.infer<typeof rawFrameSchema>;

/** "frames", server to page: what a meter of the server sent, a few times a second. */
export const rawFramesSchema = z.strictObject({
  meterKey: meterKeySchema,
  name: z.string().max(120),
  frames: z.array(rawFrameSchema).max(500),
});
export type RawFrames = z.infer<typeof rawFramesSchema>;
