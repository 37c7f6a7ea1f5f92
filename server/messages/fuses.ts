import { z } from 'zod';
import { estimateSchema } from './findings.ts';
import { idSchema } from './records.ts';

/** The fuse walk: which circuit carries how much of the key-off draw. */

export const FUSE_KINDS = ['standard', 'mini'] as const;
export const FUSE_RATINGS = [1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30] as const;

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
  /** When it was pulled, seconds from the recording's start; with the draw before and after. */
  recordingId: idSchema,
  atS: z.number().nonnegative(),
  beforeA: estimateSchema,
  afterA: estimateSchema,
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
