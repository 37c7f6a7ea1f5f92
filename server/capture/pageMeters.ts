import type { Clock } from '../../drivers/core/clock.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Meter } from '../messages/meters.ts';
import type { RecordingEvent } from '../messages/records.ts';
import type { Batch, BatchReply, Readings } from '../messages/socket.ts';
import type { Store } from '../store/store.ts';
import { refusal, shownBatch, storeBatch } from './batches.ts';
import type { Broadcast } from './broadcast.ts';
import type { MeterTable } from './meterTable.ts';
import type { OpenRecording } from './openRecording.ts';
import type { Recordings } from './recordings.ts';

export interface PageMetersOptions {
  readonly store: Store;
  readonly clock: Clock;
  readonly table: MeterTable;
  readonly broadcast: Broadcast;
  readonly recordings: Recordings;
}

const RECENT_MS = 60_000;

/** Meters whose radio is in a page: the page decodes them and sends readings; `owner` is the page's socket. */
export class PageMeters {
  constructor(private readonly options: PageMetersOptions) {}

  /** Replaces what this page announced before. @throws NightdrawError bad-request */
  announce(owner: string, meters: readonly Meter[]): void {
    const { table, recordings } = this.options;
    for (const meter of meters)
      if (meter.source !== 'page' || !meter.key.startsWith('page:'))
        throw new NightdrawError('bad-request', 'A page can announce only its own meters.');
    table.announce(owner, meters, (key) => recordings.with(key).length > 0);
    for (const meter of meters)
      for (const open of recordings.with(meter.key)) recordings.addChannels(open, meter);
  }

  /** Never throws; what was stored, or why not, is in the reply. */
  batch(owner: string, batch: Batch): BatchReply {
    const { store, recordings } = this.options;
    try {
      const open = recordings.find(batch.recordingId);
      const recording = open?.recording ?? store.getRecording(batch.recordingId);
      const fresh = batch.events.filter((e) => !isKnownStep(open, e));
      const { reply, isNew } = storeBatch(store, recording, { ...batch, events: fresh });
      if (open !== undefined && isNew) {
        for (const e of fresh) if (e.kind === 'clock-step') open.noteStep(e.atMs, e.value ?? 0);
        if (this.isRecent(open, batch))
          this.options.broadcast.readings(shownBatch(batch, recording, open.startNowMs), owner);
      }
      return reply;
    } catch (error) {
      return refusal(error);
    }
  }

  /** What a page kept while the server was away is stored, but no live screen waits for it any more. */
  private isRecent(open: OpenRecording, batch: Batch): boolean {
    const nowMs = open.timeOf(this.options.clock.nowMs());
    return batch.parts.some((p) => nowMs - (p.samples.t.at(-1) ?? -Infinity) < RECENT_MS);
  }

  /** Readings that are shown and not kept. @throws NightdrawError conflict */
  relay(owner: string, readings: Readings): void {
    if (!this.options.table.owns(owner, readings.meterKey))
      throw new NightdrawError('conflict', 'Announce the meter before sending its readings.');
    this.options.broadcast.readings(readings, owner);
  }
}

function isKnownStep(
  open: OpenRecording | undefined,
  event: Pick<RecordingEvent, 'kind' | 'atMs' | 'value'>,
) {
  return event.kind === 'clock-step' && open?.knowsStep(event.atMs, event.value ?? 0) === true;
}
