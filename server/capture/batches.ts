import { FLOAT32, FLOAT64 } from '../../drivers/core/reading.ts';
import { ERRORS, NightdrawError, type ErrorCode } from '../messages/errors.ts';
import type { Channel, Recording } from '../messages/records.ts';
import type { Batch, BatchReply, Readings } from '../messages/socket.ts';
import { decodeColumns, type WireColumns } from '../messages/wire.ts';
import { sliceColumns, type SampleColumns } from '../samples/columns.ts';
import type { Commit, Store } from '../store/store.ts';
import { addShown } from './broadcast.ts';

/** No recording runs longer than this; a time beyond it is a fault of the sender. */
const LONGEST_MS = 400 * 24 * 3600 * 1000;
/** A page may have read its meter just before it heard of the start. */
const EARLIEST_MS = -60_000;

export interface StoredBatch {
  readonly reply: BatchReply;
  /** False for a double, and for one that came too early. */
  readonly isNew: boolean;
}

/**
 * Stores one numbered batch of a page meter; the reply says what is durable now.
 * @throws NightdrawError where the batch cannot be stored
 */
export function storeBatch(store: Pick<Store, 'commit'>, recording: Recording, batch: Batch): StoredBatch {
  const channelOf = (key: string): Channel => {
    const channel = recording.channels.find((c) => c.meterKey === batch.meterKey && c.key === key);
    if (channel === undefined)
      throw new NightdrawError('bad-request', `The recording has no channel "${key}" of this meter.`);
    return channel;
  };
  // A page that was cut off does not know that somebody stopped the recording, and goes on for a while.
  const lastMs = recording.state === 'stopped' ? recording.durationMs : Infinity;
  const step: Commit = {
    recordingId: batch.recordingId,
    samples: batch.parts.map((part) => {
      checkSamples(part.samples);
      return { channelId: channelOf(part.key).id, columns: upTo(lastMs, decodeColumns(part.samples)) };
    }),
    gaps: batch.gaps.map((gap) => {
      if (!(gap.endMs >= gap.startMs) || !inTime(gap.startMs) || !inTime(gap.endMs))
        throw new NightdrawError(
          'bad-request',
          'A gap ends before it begins, or lies outside the recording.',
        );
      return {
        channelId: channelOf(gap.key).id,
        startMs: Math.min(lastMs, Math.max(0, gap.startMs)),
        endMs: Math.min(lastMs, Math.max(0, gap.endMs)),
        reason: gap.reason,
      };
    }),
    events: batch.events,
    batch: { meterKey: batch.meterKey, number: batch.number },
  };
  const result = store.commit(step);
  switch (result.kind) {
    case 'stored':
      return { reply: { ok: true, upTo: batch.number }, isNew: true };
    case 'duplicate':
      return { reply: { ok: true, upTo: result.upTo }, isNew: false };
    case 'out-of-order': {
      const error = errorBody('conflict', 'A batch before this one is missing.');
      return { reply: { ok: false, expected: result.expected, error }, isNew: false };
    }
  }
}

/** The refusal that a page gets for an error of whatever kind. */
export function refusal(error: unknown): BatchReply {
  const known = error instanceof NightdrawError;
  return {
    ok: false,
    expected: null,
    error: known ? errorBody(error.code, error.message) : errorBody('internal', ERRORS.internal.sentence),
  };
}

/** The readings of a batch as other screens show them, on the server's clock. */
export function shownBatch(batch: Batch, recording: Recording, startNowMs: number): Readings {
  const shown = new Map<string, Readings['channels'][number]>();
  for (const { key, samples } of batch.parts) {
    const quantity = recording.channels.find((c) => c.meterKey === batch.meterKey && c.key === key)?.quantity;
    if (quantity === undefined) continue;
    samples.t.forEach((t, i) =>
      addShown(shown, {
        key,
        quantity,
        counts: samples.counts[i]!,
        scale: samples.scale[i]!,
        flags: samples.flags[i]!,
        atMs: startNowMs + t,
      }),
    );
  }
  return { meterKey: batch.meterKey, channels: [...shown.values()] };
}

/** Readings of one batch are in the order of their times. */
function upTo(lastMs: number, columns: SampleColumns): SampleColumns {
  let n = columns.length;
  while (n > 0 && columns.t[n - 1]! > lastMs) n--;
  return n === columns.length ? columns : sliceColumns(columns, 0, n);
}

function checkSamples(samples: WireColumns): void {
  samples.t.forEach((t, i) => {
    const scale = samples.scale[i]!;
    const float = scale === FLOAT32 || scale === FLOAT64;
    if (!inTime(t))
      throw new NightdrawError('bad-request', 'A reading lies outside the time of the recording.');
    if (!float && (!Number.isSafeInteger(samples.counts[i]!) || Math.abs(scale) > 60))
      throw new NightdrawError('bad-request', 'A reading is not a whole number of display digits.');
  });
}

function inTime(t: number): boolean {
  return t >= EARLIEST_MS && t <= LONGEST_MS;
}

function errorBody(error: ErrorCode, sentence: string): { error: ErrorCode; sentence: string } {
  return { error, sentence };
}
