import { z } from 'zod';
import { estimateSchema } from './findings.ts';
import { idSchema } from './records.ts';

/** The fuse walk: which circuit carries how much of the key-off draw. */

export const FUSE_KINDS = ['standard', 'mini'] as const;

export const fuseDropSchema = z.strictObject({
  way: z.literal('drop'),
  rating: z.number().positive().max(500),
  kind: z.enum(FUSE_KINDS),
  /** Millivolts across the fuse, as the meter showed them, and its last digit. */
  millivolts: z.number().min(-1000).max(1000),
  digitMv: z.number().positive().max(10),
});

export const fusePullSchema = z.strictObject({
  way: z.literal('pull'),
  recordingId: idSchema,
  /** When it was pulled, and when the next thing was touched (null: it is still out), seconds from the recording's start. */
  atS: z.number().nonnegative(),
  untilS: z.number().nonnegative().nullable(),
  beforeA: estimateSchema,
  afterA: estimateSchema,
  /** False while later readings may still change the figure. */
  isFinal: z.boolean(),
});

export const fuseLineSchema = z.strictObject({
  id: idSchema,
  /** As the fuse box names it: "F12", "radio". */
  place: z.string().trim().min(1).max(60),
  measured: z.discriminatedUnion('way', [fuseDropSchema, fusePullSchema]),
  /** Null where the measurement does not carry a figure. */
  currentA: estimateSchema,
  /** Said of this line: what it proves, what its resolution does not carry. */
  says: z.string().max(400),
  at: z.iso.datetime(),
});
export type FuseLine = z.infer<typeof fuseLineSchema>;

/** What is kept of a case's fuse walk. */
export const keptFuseWalkSchema = z.strictObject({
  lines: z.array(fuseLineSchema).max(200),
  /** The whole draw by the clamp. */
  clampA: estimateSchema,
});
export type KeptFuseWalk = z.infer<typeof keptFuseWalkSchema>;

/** The same, summed up. */
export const fuseWalkSchema = keptFuseWalkSchema.extend({
  /** The sum of the lines that carry a figure. */
  sumA: estimateSchema,
  /** Clamp minus sum. */
  unexplainedA: estimateSchema,
  says: z.array(z.string()),
});
export type FuseWalk = z.infer<typeof fuseWalkSchema>;

/** A fuse measured by hand, or a tap as it was pulled during a recording of the case. */
export const addFuseSchema = z.strictObject({
  place: fuseLineSchema.shape.place,
  measured: z.discriminatedUnion('way', [
    fuseDropSchema,
    /** `nowMs`: when, on the server's clock; absent: now. */
    z.strictObject({ way: z.literal('pull'), recordingId: idSchema, nowMs: z.number().optional() }),
  ]),
});
export type AddFuse = z.infer<typeof addFuseSchema>;

/** The whole draw: by the clamp of a running recording over its last readings, or as a person read it, or not known. */
export const wholeDrawSchema = z.union([
  z.strictObject({ recordingId: idSchema }),
  z.strictObject({ amps: z.number().min(0).max(100), uncertaintyA: z.number().min(0).max(100) }),
  z.strictObject({ clear: z.literal(true) }),
]);
export type WholeDraw = z.infer<typeof wholeDrawSchema>;
