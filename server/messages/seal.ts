import { z } from 'zod';

/** What the page shows of the seals of a recording. */

const digestSchema = z.string().regex(/^[0-9a-f]{64}$/);

/** A bundle that was made of a recording: when, its SHA-256, and what was left out of it. */
export const issuedSchema = z.strictObject({
  at: z.iso.datetime(),
  sha256: digestSchema,
  without: z.array(z.enum(['identity', 'photos'])),
});
export type Issued = z.infer<typeof issuedSchema>;

export const sealStateSchema = z.strictObject({
  /** Fingerprint of the key that signs on this computer. */
  key: digestSchema,
  /** Heads that were signed while it was recorded. */
  heads: z.int().nonnegative(),
  lastHeadAt: z.iso.datetime().nullable(),
  /** What is no longer as it was sealed, in sentences. */
  faults: z.array(z.string()),
  bundles: z.array(issuedSchema),
});
export type SealState = z.infer<typeof sealStateSchema>;

export const ownKeySchema = z.strictObject({ fingerprint: digestSchema });
