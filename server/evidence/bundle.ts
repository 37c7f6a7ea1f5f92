import { ANALYSIS_REVISION } from '../battery/revision.ts';
import type { Findings } from '../messages/findings.ts';
import { attachmentFiles, type Attachments } from './attachments.ts';
import { factsOf, manifestOf, tagFiles, type FileFacts } from './bag.ts';
import { leafHash, rootOf } from './merkle.ts';
import { hex, unhex, utf8 } from './octets.ts';
import { fingerprintOf, pemOf, type Sha256, type Signer } from './signing.ts';
import {
  document,
  type Leaf,
  type Part,
  type SealedEvents,
  type SealedFindings,
  type SealedRecord,
  type StatedLeaf,
  type Statement,
} from './statement.ts';
import { zip, type Members } from './zip.ts';
import type { ZipWriter } from './zipWriter.ts';

/** One leaf of the tree with the octets that it hashes. */
export interface SealedBlock {
  readonly leaf: Leaf;
  /** Null where only the hash is known, as in a bundle that was made without identity. */
  readonly octets: Uint8Array | null;
}

export interface BundleParts {
  readonly id: string;
  readonly sealedAt: string;
  readonly version: string;
  readonly record: SealedRecord;
  /** Read once, in order. */
  readonly blocks: Iterable<SealedBlock>;
  /** All events and gaps of the blocks. */
  readonly events: SealedEvents;
  readonly findings: { readonly options: SealedFindings['options']; readonly findings: Findings } | null;
  readonly attachments: Attachments;
  /** Lines of the log of signed heads, as they were written. */
  readonly heads: readonly string[];
  /** Reports, photos: name under data/ and octets. */
  readonly extras: Members;
  readonly without: readonly Part[];
}

export function samplesBlock(
  octets: Uint8Array,
  fromMs: number,
  toMs: number,
  counts: number[],
  sha256: Sha256,
) {
  return {
    octets,
    leaf: { kind: 'samples' as const, hash: hex(leafHash(octets, sha256)), fromMs, toMs, counts },
  };
}

export function eventsBlock(sealed: SealedEvents, sha256: Sha256): SealedBlock {
  const octets = document(sealed);
  const times = [...sealed.events.map((e) => e.atMs), ...sealed.gaps.flatMap((g) => [g.startMs, g.endMs])];
  return {
    octets,
    leaf: {
      kind: 'events',
      hash: hex(leafHash(octets, sha256)),
      fromMs: Math.min(...times, Infinity) === Infinity ? 0 : Math.min(...times),
      toMs: Math.max(0, ...times),
      counts: [sealed.events.length, sealed.gaps.length],
    },
  };
}

/**
 * Writes the sealed bundle, a zip file with one bag in it, block by block. FORMAT.md describes every file.
 * @throws RangeError where it is too large
 */
export function writeBundle(parts: BundleParts, signer: Signer, sha256: Sha256, zip: ZipWriter): void {
  const anonymous = parts.without.includes('identity');
  const bag = bagName(parts);
  const facts = new Map<string, FileFacts>();
  const put = (name: string, octets: Uint8Array) => {
    facts.set(`data/${name}`, { size: octets.length, digest: hex(sha256(octets)) });
    zip.add(`${bag}/data/${name}`, octets);
  };
  const leaves = putBlocks(parts.blocks, anonymous, put);
  put('recording.json', document(anonymous ? withoutIdentity(parts.record) : parts.record));
  if (leaves.some((leaf) => leaf.withheld))
    put('events/without-texts.json', document(anonymous ? withoutTexts(parts.events) : parts.events));
  if (parts.findings !== null) put('findings.json', findingsDocument(parts.version, parts.findings));
  if (parts.heads.length > 0) put('heads.jsonl', utf8(parts.heads.map((line) => `${line}\n`).join('')));
  for (const [name, octets] of attachmentFiles(parts.attachments, parts.without)) put(name, octets);
  for (const [name, octets] of parts.extras) put(name, octets);

  const manifest = manifestOf(facts);
  const hashes = leaves.map((l) => unhex(l.hash));
  const statement: Statement = {
    schema: 'nightdraw.statement/1',
    bag,
    recording: parts.id,
    sealedAt: parts.sealedAt,
    program: { name: 'nightdraw', version: parts.version },
    key: fingerprintOf(signer.publicKey, sha256),
    manifest: hex(sha256(utf8(manifest))),
    without: [...parts.without].sort(),
    heads: parts.heads.length,
    tree: { root: hex(rootOf(hashes, sha256)), leaves },
  };
  const octets = document(statement);
  const tags = tagFiles(statement, octets, signer.sign(octets), pemOf(signer.publicKey), facts, manifest);
  for (const [name, tag] of withTagManifest(tags, sha256)) zip.add(`${bag}/${name}`, tag);
  zip.end();
}

function bagName({ id, record }: BundleParts): string {
  return `nightdraw-${record.recording.startedAt?.slice(0, 10) ?? 'undated'}-${id}`;
}

function putBlocks(
  blocks: Iterable<SealedBlock>,
  anonymous: boolean,
  put: (name: string, octets: Uint8Array) => void,
): StatedLeaf[] {
  const numbers = { samples: 0, events: 0 };
  const leaves: StatedLeaf[] = [];
  for (const { leaf, octets } of blocks) {
    const number = String(++numbers[leaf.kind]).padStart(4, '0');
    const name = `${leaf.kind}/${number}.${leaf.kind === 'samples' ? 'csv' : 'json'}`;
    // Notes are free text and may name anybody.
    const withheld = octets === null || (anonymous && leaf.kind === 'events');
    if (!withheld) put(name, octets);
    leaves.push({ ...leaf, file: `data/${name}`, withheld });
  }
  return leaves;
}

function findingsDocument(version: string, found: NonNullable<BundleParts['findings']>): Uint8Array {
  return document({
    schema: 'nightdraw.sealed-findings/1',
    version,
    analysis: ANALYSIS_REVISION,
    ...found,
  });
}

/** Tag files, their manifest and the payload in one zip file. */
export function packBag(bag: string, tags: Members, payload: Members, sha256: Sha256): Uint8Array {
  const all = [...payload, ...withTagManifest(tags, sha256)];
  return zip(new Map(all.map(([name, octets]) => [`${bag}/${name}`, octets])), sha256);
}

function withTagManifest(tags: Members, sha256: Sha256): [string, Uint8Array][] {
  return [...tags, ['tagmanifest-sha256.txt', utf8(manifestOf(factsOf(tags, sha256)))]];
}

/** What a person wrote of the car and its owner is left out, a file's name too; what the meters are stays. */
function withoutIdentity({ schema, recording }: SealedRecord): SealedRecord {
  const channels = recording.channels.map((c) =>
    c.meterKey.startsWith('file:') ? { ...c, meterKey: 'file:csv', meterName: '' } : c,
  );
  return { schema, recording: { ...recording, title: '', provenance: '', channels }, case: null };
}

export function withoutTexts({ events, gaps }: SealedEvents): SealedEvents {
  const free = new Set(['note', 'attempt']);
  return { events: events.map((e) => (free.has(e.kind) ? { ...e, text: '' } : e)), gaps };
}
