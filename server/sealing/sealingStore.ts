import type { Signer } from '../evidence/signing.ts';
import type { SealedEvents } from '../evidence/statement.ts';
import type { Channel } from '../messages/records.ts';
import type { SampleColumns } from '../samples/columns.ts';
import type { Commit, Store } from '../store/store.ts';
import { SampleCursor } from './cursor.ts';
import { appendHead, dropLog, lastHeadOf, logFile, readLog, type SealLog } from './headLog.ts';
import { dropIssued } from './issued.ts';
import { freshBlocks, nightBlocks, sealedGap } from './nightBlocks.ts';

export interface SealingOptions {
  readonly data: string;
  readonly signer: Signer;
  readonly utcMs: () => number;
  readonly sealEveryMs?: number;
  /** Told once when a seal cannot be written; the recording goes on, and the seal is tried again. */
  readonly onTrouble: (sentence: string) => void;
}

/** A signed head at least every 10 minutes, with a margin for the wait until the next commit. */
export const SEAL_EVERY_MS = 9 * 60_000;

interface Pending {
  log: SealLog;
  channels: readonly Channel[];
  samples: SampleColumns[][];
  events: SealedEvents;
  lastMs: number;
  isTroubled: boolean;
}

/**
 * The same store, but what is recorded is sealed as it becomes durable: the samples and events of the last minutes
 * become a block, and the root over all blocks is signed into the log of the recording. What a crash left unsealed is
 * sealed when the recording goes on.
 */
export function sealingStore(store: Store, options: SealingOptions): Store {
  const pending = new Map<string, Pending>();
  const every = options.sealEveryMs ?? SEAL_EVERY_MS;

  /** What is in the store beyond the log. */
  const open = (id: string): Pending => {
    const log = readLog(logFile(options.data, id));
    const { recording, samples, events } = unsealed(store, id, log);
    const made: Pending = {
      log,
      channels: recording.channels,
      samples,
      events,
      lastMs: lastHeadMs(log) ?? options.utcMs(),
      isTroubled: false,
    };
    pending.set(id, made);
    return made;
  };

  const seal = (id: string, p: Pending): void => {
    const cursors = p.samples.map((pieces) => new SampleCursor(pieces));
    const blocks = [...freshBlocks(p.channels, cursors, p.events)];
    if (blocks.length === 0 && p.log.leaves.length === 0) return;
    const leaves = blocks.map(({ leaf, events }) => ({ leaf, events }));
    const head = { log: id, at: new Date(options.utcMs()).toISOString() };
    try {
      p.log = appendHead(logFile(options.data, id), p.log, leaves, head, options.signer);
    } catch (error) {
      if (!p.isTroubled) options.onTrouble(`The log of seals cannot be written: ${String(error)}`);
      p.isTroubled = true;
      return;
    }
    p.isTroubled = false;
    p.samples = p.channels.map(() => []);
    p.events = { events: [], gaps: [] };
    p.lastMs = options.utcMs();
  };

  const add = (p: Pending, step: Commit): void => {
    if (step.samples.some((s) => !p.channels.some((c) => c.id === s.channelId))) {
      p.channels = store.getRecording(step.recordingId).channels;
    }
    for (const { channelId, columns } of step.samples) {
      const k = p.channels.findIndex((c) => c.id === channelId);
      while (p.samples.length <= k) p.samples.push([]);
      p.samples[k]!.push(columns);
    }
    p.events.events.push(...step.events);
    p.events.gaps.push(...step.gaps.map((gap) => sealedGap(gap, p.channels)));
  };

  const stored = (step: Commit): void => {
    const known = pending.get(step.recordingId);
    if (known === undefined && store.getRecording(step.recordingId).kind === 'imported') return;
    if (known !== undefined) add(known, step);
    const p = known ?? open(step.recordingId);
    if (Math.abs(options.utcMs() - p.lastMs) >= every) seal(step.recordingId, p);
  };

  return {
    ...store,
    commit(step) {
      const result = store.commit(step);
      if (result.kind === 'stored') stored(step);
      return result;
    },
    commitAll(steps) {
      const results = store.commitAll(steps);
      // What is opened anew is read from the store, with all of these steps in it.
      const isNew = new Set(steps.map((s) => s.recordingId).filter((id) => !pending.has(id)));
      steps.forEach((step, k) => {
        if (results[k]!.kind !== 'stored') return;
        if (!isNew.has(step.recordingId) || !pending.has(step.recordingId)) stored(step);
      });
      return results;
    },
    stopRecording(id, durationMs) {
      const recording = store.stopRecording(id, durationMs);
      if (recording.kind !== 'imported') {
        seal(id, pending.get(id) ?? open(id));
        pending.delete(id);
      }
      return recording;
    },
    deleteRecording(id) {
      store.deleteRecording(id);
      pending.delete(id);
      dropLog(logFile(options.data, id));
      dropIssued(options.data, id);
    },
    close() {
      for (const [id, p] of pending) seal(id, p);
      store.close();
    },
  };
}

function unsealed(store: Store, id: string, log: SealLog) {
  const { recording, fresh } = nightBlocks(store, id, log);
  const samples = recording.channels.map((channel, k) => {
    const cursor = new SampleCursor(store.partsOf(channel.id));
    for (const { leaf } of log.leaves) cursor.take(samplesIn(leaf, k));
    return [cursor.takeBefore(Infinity)];
  });
  const events = fresh.find((block) => block.events !== null)?.events ?? { events: [], gaps: [] };
  return { recording, samples, events: { events: [...events.events], gaps: [...events.gaps] } };
}

function samplesIn(leaf: SealLog['leaves'][number]['leaf'], channel: number): number {
  return leaf.kind === 'samples' ? (leaf.counts[channel] ?? 0) : 0;
}

function lastHeadMs(log: SealLog): number | null {
  const last = lastHeadOf(log);
  return last === null ? null : Date.parse(last.at);
}
