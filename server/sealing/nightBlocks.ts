import { encodeBlockCsv } from '../evidence/blockCsv.ts';
import { eventsBlock, samplesBlock, type SealedBlock } from '../evidence/bundle.ts';
import { canonicalJson } from '../evidence/canonical.ts';
import { document, type SealedEvents } from '../evidence/statement.ts';
import type { Channel, Gap, Recording, RecordingEvent } from '../messages/records.ts';
import { sliceColumns, type SampleColumns } from '../samples/columns.ts';
import type { Store } from '../store/store.ts';
import { nodeChecker } from './checker.ts';
import type { LoggedLeaf, SealLog } from './headLog.ts';

/** A recording as it now is in the store, cut into the blocks that were sealed and what is not sealed yet. */
export interface NightBlocks {
  readonly recording: Recording;
  readonly sealed: readonly SealedBlock[];
  readonly fresh: readonly LoggedBlock[];
  readonly events: SealedEvents;
  /** In words: what the store now says otherwise than when it was sealed. */
  readonly faults: readonly string[];
}

export interface LoggedBlock extends SealedBlock {
  readonly events: SealedEvents | null;
}

const HOUR_MS = 3_600_000;
const { sha256 } = nodeChecker;

/** @throws NightdrawError not-found */
export function nightBlocks(store: Store, recordingId: string, log: SealLog): NightBlocks {
  const recording = store.getRecording(recordingId);
  const columns = recording.channels.map((c) => store.readSamples(c.id));
  const all = eventsOf(store, recording);
  const next = columns.map(() => 0);
  const faults: string[] = log.isDamaged ? ['The log of seals is damaged.'] : [];
  const sealed = log.leaves.map(({ leaf, events }, i): SealedBlock => {
    if (leaf.kind === 'events') return { leaf, octets: events === null ? null : document(events) };
    const slices = leaf.counts.map((count, k) => {
      const from = next[k] ?? 0;
      next[k] = from + count;
      return sliceColumns(columns[k] ?? columns[0]!, from, from + count);
    });
    const octets = blockOctets(recording.channels, slices);
    const { hash } = samplesBlock(octets, leaf.fromMs, leaf.toMs, [], sha256).leaf;
    if (hash !== leaf.hash)
      faults.push(
        `Block ${i + 1}, from ${leaf.fromMs / 1000} s to ${leaf.toMs / 1000} s after the start, is not what was sealed.`,
      );
    return { leaf, octets };
  });
  const left = restOfEvents(all, log.leaves, faults);
  const tails = columns.map((c, k) => sliceColumns(c, Math.min(next[k]!, c.length), c.length));
  return { recording, sealed, fresh: freshBlocks(recording.channels, tails, left), events: all, faults };
}

/** Samples in blocks of an hour at most, then events and gaps; nothing where there is nothing. */
export function freshBlocks(
  channels: readonly Channel[],
  columns: readonly SampleColumns[],
  events: SealedEvents,
): LoggedBlock[] {
  const blocks: LoggedBlock[] = [];
  const next = columns.map(() => 0);
  while (columns.some((c, k) => next[k]! < c.length)) {
    const first = Math.min(...columns.map((c, k) => c.t[next[k]!] ?? Infinity));
    const end = (Math.floor(first / HOUR_MS) + 1) * HOUR_MS;
    const slices = columns.map((c, k) => {
      const from = next[k]!;
      while (next[k]! < c.length && c.t[next[k]!]! < end) next[k]!++;
      return sliceColumns(c, from, next[k]!);
    });
    blocks.push({ ...blockOf(channels, slices), events: null });
  }
  if (events.events.length + events.gaps.length > 0) blocks.push({ ...eventsBlock(events, sha256), events });
  return blocks;
}

function blockOf(channels: readonly Channel[], slices: readonly SampleColumns[]): SealedBlock {
  let [from, to] = [Infinity, -Infinity];
  for (const { t } of slices) for (const x of t) [from, to] = [Math.min(from, x), Math.max(to, x)];
  const counts = slices.map((s) => s.length);
  return samplesBlock(blockOctets(channels, slices), from, to, counts, sha256);
}

function blockOctets(channels: readonly Channel[], slices: readonly SampleColumns[]): Uint8Array {
  return encodeBlockCsv(slices.map((columns, k) => ({ quantity: channels[k]!.quantity, columns })));
}

export function sealedGap(
  { channelId, ...gap }: Gap,
  channels: readonly Channel[],
): SealedEvents['gaps'][number] {
  return { ...gap, channel: channels.findIndex((c) => c.id === channelId) };
}

function eventsOf(store: Store, recording: Recording): SealedEvents {
  const gaps = store.listGaps(recording.id).map((gap) => sealedGap(gap, recording.channels));
  return { events: store.listEvents(recording.id), gaps };
}

/** What is not sealed yet; what was sealed and is gone or otherwise now is a fault. */
function restOfEvents(all: SealedEvents, leaves: readonly LoggedLeaf[], faults: string[]): SealedEvents {
  const logged = leaves.flatMap((l) => l.events ?? []);
  // Without the texts of its notes a leaf cannot be compared; then nothing counts as fresh.
  if (leaves.some((l) => l.leaf.kind === 'events' && l.events === null)) return { events: [], gaps: [] };
  const events = without<RecordingEvent>(
    all.events,
    logged.flatMap((l) => l.events),
  );
  const gaps = without(
    all.gaps,
    logged.flatMap((l) => l.gaps),
  );
  for (const event of events.missing)
    faults.push(
      `The event at ${event.atMs / 1000} s (${event.kind}) is not in the database as it was sealed.`,
    );
  for (const gap of gaps.missing)
    faults.push(`The gap from ${gap.startMs / 1000} s is not in the database as it was sealed.`);
  return { events: events.rest, gaps: gaps.rest };
}

function without<T>(all: readonly T[], known: readonly T[]): { rest: T[]; missing: T[] } {
  const count = new Map<string, number>();
  for (const x of known) count.set(canonicalJson(x), (count.get(canonicalJson(x)) ?? 0) + 1);
  const rest = all.filter((x) => {
    const n = count.get(canonicalJson(x)) ?? 0;
    if (n > 0) count.set(canonicalJson(x), n - 1);
    return n === 0;
  });
  const missing = known.filter((x) => {
    const n = count.get(canonicalJson(x))!;
    if (n > 0) count.set(canonicalJson(x), n - 1);
    return n > 0;
  });
  return { rest, missing };
}
