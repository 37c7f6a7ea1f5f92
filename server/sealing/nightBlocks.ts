import { encodeBlockCsv } from '../evidence/blockCsv.ts';
import { eventsBlock, samplesBlock, type SealedBlock } from '../evidence/bundle.ts';
import { canonicalJson } from '../evidence/canonical.ts';
import { document, type Leaf, type SealedEvents } from '../evidence/statement.ts';
import type { Channel, Gap, Recording, RecordingEvent } from '../messages/records.ts';
import { emptyColumns, type SampleColumns } from '../samples/columns.ts';
import type { Store } from '../store/store.ts';
import { nodeChecker } from './checker.ts';
import { SampleCursor } from './cursor.ts';
import type { LoggedLeaf, SealLog } from './headLog.ts';

/** A recording as it now is in the store, against what was sealed of it. */
export interface NightBlocks {
  readonly recording: Recording;
  /** What was sealed of it when it was read. */
  readonly log: SealLog;
  /** What was sealed, then what is not sealed yet. */
  readonly leaves: readonly Leaf[];
  readonly fresh: readonly LoggedLeaf[];
  readonly events: SealedEvents;
  /** In words: what the store now says otherwise than when it was sealed. */
  readonly faults: readonly string[];
}

export interface LoggedBlock extends SealedBlock {
  readonly events: SealedEvents | null;
}

/** A block as it stands in the store now. */
interface StoredBlock extends LoggedBlock {
  readonly isSealed: boolean;
  readonly fault: string | null;
}

const HOUR_MS = 3_600_000;
const { sha256 } = nodeChecker;

/** The whole recording is read once, block by block. @throws NightdrawError not-found */
export function nightBlocks(store: Store, recordingId: string, log: SealLog): NightBlocks {
  const recording = store.getRecording(recordingId);
  const all = eventsOf(store, recording);
  const faults: string[] = log.isDamaged ? ['The log of seals is damaged.'] : [];
  const left = restOfEvents(all, log.leaves);
  const leaves: Leaf[] = [];
  const fresh: LoggedLeaf[] = [];
  for (const { leaf, events, isSealed, fault } of storedBlocks(store, recording, log, left.fresh)) {
    leaves.push(leaf);
    if (!isSealed) fresh.push({ leaf, events });
    if (fault !== null) faults.push(fault);
  }
  return { recording, log, leaves, fresh, events: all, faults: [...faults, ...left.faults] };
}

/** The blocks of a bundle with their octets, each made when it is asked for. @throws NightdrawError not-found */
export function* blocksToSeal(store: Store, recordingId: string, log: SealLog): Generator<SealedBlock> {
  const recording = store.getRecording(recordingId);
  const { fresh } = restOfEvents(eventsOf(store, recording), log.leaves);
  yield* storedBlocks(store, recording, log, fresh);
}

function* storedBlocks(
  store: Store,
  { channels }: Recording,
  log: SealLog,
  freshEvents: SealedEvents,
): Generator<StoredBlock> {
  const cursors = channels.map((c) => new SampleCursor(store.partsOf(c.id)));
  for (const [i, { leaf, events }] of log.leaves.entries()) {
    if (leaf.kind === 'events') {
      const octets = events === null ? null : document(events);
      yield { leaf, octets, events, isSealed: true, fault: null };
      continue;
    }
    const slices = leaf.counts.map((count, k) => cursors[k]?.take(count) ?? emptyColumns());
    const octets = blockOctets(channels, slices);
    const { hash } = samplesBlock(octets, leaf.fromMs, leaf.toMs, [], sha256).leaf;
    const where = `Block ${i + 1}, from ${leaf.fromMs / 1000} s to ${leaf.toMs / 1000} s after the start,`;
    const fault = hash === leaf.hash ? null : `${where} is not what was sealed.`;
    yield { leaf, octets, events: null, isSealed: true, fault };
  }
  for (const block of freshBlocks(channels, cursors, freshEvents))
    yield { ...block, isSealed: false, fault: null };
}

/** Samples in blocks of an hour at most, then events and gaps; nothing where there is nothing. */
export function* freshBlocks(
  channels: readonly Channel[],
  cursors: readonly SampleCursor[],
  events: SealedEvents,
): Generator<LoggedBlock> {
  for (;;) {
    const first = Math.min(...cursors.map((c) => c.nextMs() ?? Infinity));
    if (first === Infinity) break;
    const end = (Math.floor(first / HOUR_MS) + 1) * HOUR_MS;
    const slices = cursors.map((c) => c.takeBefore(end));
    yield { ...blockOf(channels, slices), events: null };
  }
  if (events.events.length + events.gaps.length > 0) yield { ...eventsBlock(events, sha256), events };
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
function restOfEvents(
  all: SealedEvents,
  leaves: readonly LoggedLeaf[],
): { readonly fresh: SealedEvents; readonly faults: string[] } {
  const logged = leaves.flatMap((l) => l.events ?? []);
  // Without the texts of its notes a leaf cannot be compared; then nothing counts as fresh.
  if (leaves.some((l) => l.leaf.kind === 'events' && l.events === null))
    return { fresh: { events: [], gaps: [] }, faults: [] };
  const events = without<RecordingEvent>(
    all.events,
    logged.flatMap((l) => l.events),
  );
  const gaps = without(
    all.gaps,
    logged.flatMap((l) => l.gaps),
  );
  const faults = [
    ...events.missing.map((event) => `The event at ${event.atMs / 1000} s (${event.kind})`),
    ...gaps.missing.map((gap) => `The gap from ${gap.startMs / 1000} s`),
  ].map((what) => `${what} is not in the database as it was sealed.`);
  return { fresh: { events: events.rest, gaps: gaps.rest }, faults };
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
