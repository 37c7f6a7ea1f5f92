import { findKeptNight } from '../battery/keptNight.ts';
import type { Findings } from '../messages/findings.ts';
import { joinColumns, type SampleColumns } from '../samples/columns.ts';
import { readAttachments, type Attachments } from './attachments.ts';
import { decodeBlockCsv } from './blockCsv.ts';
import {
  eventsSchema,
  readDocument,
  recordSchema,
  sealedFindingsSchema,
  type SealedEvents,
  type SealedFindings,
  type SealedRecord,
  type Statement,
} from './statement.ts';
import type { Members } from './zip.ts';

/** What a bundle holds, read from files that have been checked. */
export interface Contents {
  readonly record: SealedRecord;
  /** For each channel its samples in the order in which they were recorded. */
  readonly columns: readonly SampleColumns[];
  readonly events: SealedEvents;
  readonly findings: SealedFindings | null;
  readonly attachments: Attachments;
}

/**
 * @param payload the files under data/, by their full name in the bag
 * @throws RangeError where a file is not what its place says
 */
export function readContents(statement: Statement, payload: Members): Contents {
  const get = (name: string): Uint8Array => {
    const octets = payload.get(name);
    if (octets === undefined) throw new RangeError(`${name} is missing`);
    return octets;
  };
  const record = readDocument(recordSchema, get('data/recording.json'));
  const parts = record.recording.channels.map((): SampleColumns[] => []);
  const events: SealedEvents = { events: [], gaps: [] };
  for (const leaf of statement.tree.leaves) {
    if (leaf.withheld) continue;
    if (leaf.kind === 'events') {
      const part = readDocument(eventsSchema, get(leaf.file));
      events.events.push(...part.events);
      events.gaps.push(...part.gaps);
      continue;
    }
    const block = decodeBlockCsv(get(leaf.file));
    const isAsStated = block.every(({ quantity, columns }, k) => {
      parts[k]?.push(columns);
      return record.recording.channels[k]?.quantity === quantity && leaf.counts[k] === columns.length;
    });
    if (!isAsStated || block.length !== leaf.counts.length)
      throw new RangeError(`${leaf.file} does not hold the channels that the statement says`);
  }
  const redacted = payload.get('data/events/without-texts.json');
  const findings = payload.get('data/findings.json');
  const all = redacted === undefined ? events : readDocument(eventsSchema, redacted);
  if (all.gaps.some((gap) => gap.channel >= parts.length)) throw new RangeError('a gap is of no channel');
  return {
    record,
    columns: parts.map(joinColumns),
    events: all,
    findings: findings === undefined ? null : readDocument(sealedFindingsSchema, findings),
    attachments: readAttachments(payload),
  };
}

/** The analysis of this program over sealed samples, with the options that were sealed. */
export function analyseAgain(
  { record, columns, events, attachments }: Contents,
  options: SealedFindings['options'],
): Findings {
  const { startedAt, durationMs, channels } = record.recording;
  const gaps = [...events.gaps].sort((a, b) => a.startMs - b.startMs);
  return findKeptNight(
    {
      startedAt,
      durationMs,
      channels: channels.map((channel, k) => ({
        channel,
        columns: columns[k]!,
        gaps: gaps.filter((gap) => gap.channel === k),
      })),
      events: [...events.events].sort((a, b) => a.atMs - b.atMs),
      facts: attachments,
    },
    options,
  );
}

/** Relative: engines differ in the last digits of sines, roots and logarithms. */
const ROUNDING = 1e-6;

/** Whether two documents say the same: every word, and every number but for its last digits. */
export function sameFindings(a: unknown, b: unknown): boolean {
  if (typeof a === 'number' && typeof b === 'number')
    return Math.abs(a - b) <= ROUNDING * Math.max(Math.abs(a), Math.abs(b));
  if (typeof a !== 'object' || typeof b !== 'object' || a === null || b === null) return a === b;
  const [mine, theirs] = [Object.entries(a), new Map(Object.entries(b))];
  return (
    mine.length === theirs.size && mine.every(([k, v]) => theirs.has(k) && sameFindings(v, theirs.get(k)))
  );
}
