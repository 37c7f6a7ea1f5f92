import { z } from 'zod';
import { analysisOptionsSchema, findingsSchema } from '../messages/findings.ts';
import {
  caseSchema,
  channelInputSchema,
  eventSchema,
  gapSchema,
  recordingSchema,
} from '../messages/records.ts';
import { canonicalJson, parseCanonical } from './canonical.ts';
import { textOfUtf8, utf8 } from './octets.ts';

/** The documents of a sealed bundle, each canonical JSON; FORMAT.md describes them. */

const digest = z.string().regex(/^[0-9a-f]{64}$/);
const ms = z.number();

export const PARTS = ['identity', 'photos'] as const;
export type Part = (typeof PARTS)[number];

export const leafSchema = z.strictObject({
  kind: z.enum(['samples', 'events']),
  /** RFC 6962 hash of the file's octets. */
  hash: digest,
  fromMs: ms,
  toMs: ms,
  /** For samples: how many of each channel. For events: how many events and gaps. */
  counts: z.array(z.int().nonnegative()).max(64),
});
export type Leaf = z.infer<typeof leafSchema>;

const statedLeafSchema = leafSchema.extend({
  file: z.string(),
  /** The file is left out; its hash still stands in the tree. */
  withheld: z.boolean(),
});
export type StatedLeaf = z.infer<typeof statedLeafSchema>;

export const statementSchema = z.strictObject({
  schema: z.literal('nightdraw.statement/1'),
  bag: z.string().regex(/^nightdraw-[a-z0-9-]{1,60}$/),
  recording: z.string(),
  sealedAt: z.iso.datetime(),
  program: z.strictObject({ name: z.literal('nightdraw'), version: z.string() }),
  key: digest,
  /** SHA-256 of manifest-sha256.txt, which lists every file under data/. */
  manifest: digest,
  without: z.array(z.enum(PARTS)),
  heads: z.int().nonnegative(),
  tree: z.strictObject({ root: digest, leaves: z.array(statedLeafSchema) }),
});
export type Statement = z.infer<typeof statementSchema>;

const gapOfChannelSchema = gapSchema.omit({ channelId: true }).extend({ channel: z.int().nonnegative() });
export const eventsSchema = z.strictObject({
  events: z.array(eventSchema),
  gaps: z.array(gapOfChannelSchema),
});
export type SealedEvents = z.infer<typeof eventsSchema>;

export const recordSchema = z.strictObject({
  schema: z.literal('nightdraw.record/1'),
  recording: recordingSchema
    .pick({ kind: true, title: true, startedAt: true, zone: true, durationMs: true, provenance: true })
    .extend({ channels: z.array(channelInputSchema).max(64) }),
  case: caseSchema
    .omit({ id: true, createdAt: true, demo: true, recordings: true, archivedAt: true, deletedAt: true })
    .nullable(),
});
export type SealedRecord = z.infer<typeof recordSchema>;

export const sealedFindingsSchema = z.strictObject({
  schema: z.literal('nightdraw.sealed-findings/1'),
  version: z.string(),
  /** Revision of the analysis; absent in bundles of the first. */
  analysis: z.int().positive().optional(),
  options: analysisOptionsSchema.extend({
    thresholdFrom: z.enum(['set', 'measured-on-this-car']).optional(),
    thresholdUncertaintyV: z.number().nonnegative().optional(),
  }),
  findings: findingsSchema,
});
export type SealedFindings = z.infer<typeof sealedFindingsSchema>;

export const headSchema = z.strictObject({
  schema: z.literal('nightdraw.head/1'),
  log: z.string(),
  size: z.int().positive(),
  root: digest,
  at: z.iso.datetime(),
  /** SHA-256 of the line before, without its line feed; null for the first head. */
  previous: digest.nullable(),
  /** Raw Ed25519 public key. */
  key: digest,
});
export type Head = z.infer<typeof headSchema>;
export const signedHeadSchema = z.strictObject({ head: headSchema, signature: z.string() });

/** @throws RangeError where the octets are not canonical JSON of that schema */
export function readDocument<T>(schema: z.ZodType<T>, octets: Uint8Array): T {
  const parsed = schema.safeParse(parseCanonical(textOfUtf8(octets)));
  if (!parsed.success) throw new RangeError('not a document of this kind');
  return parsed.data;
}

export function document(value: unknown): Uint8Array {
  return utf8(canonicalJson(value));
}
