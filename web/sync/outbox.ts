import type { Clock } from '../../drivers/core/clock.ts';
import type { Batch, BatchReply, Notice } from '../../server/messages/socket.ts';
import type { OutboxState } from './api.ts';
import { samplesIn, type BatchBody } from './batchCut.ts';
import { NoStream, type BatchStore, type Stream } from './batchStore.ts';
import { judge } from './numbering.ts';

export interface OutboxOptions {
  readonly store: BatchStore;
  /** Rejects where no answer comes. */
  readonly send: (batch: Batch) => Promise<BatchReply>;
  readonly clock: Clock;
  /** Runs `work` while no other page of this browser works on the same name. */
  readonly alone: (name: string, work: () => Promise<void>) => Promise<void>;
  readonly onState: (state: OutboxState) => void;
  readonly onNotice: (notice: Notice) => void;
  readonly mostWaitingSamples?: number;
}

/** Eight hours of one meter at 140 readings a second; some 100 MB of the browser's storage. */
const MOST_WAITING_SAMPLES = 4_000_000;
const RETRY_MS = { first: 1000, longest: 15_000 };

interface Line {
  batches: number;
  samples: number;
  oldestUtcMs: number;
  draining: boolean;
  /** Something was put here while the line was being emptied. */
  again: boolean;
  /** No more will come: the stream can be forgotten once it is empty. */
  finished: boolean;
}

/**
 * Batches in storage until the server has made them durable. One batch of a stream is under way at a time,
 * so that they arrive in order whatever happens.
 */
export class Outbox {
  private readonly lines = new Map<string, Line>();
  private readonly sleepers = new Set<() => void>();
  private connected = false;
  private sentence = '';

  private constructor(private readonly options: OutboxOptions) {}

  /** An outbox with what an earlier page left in the store. */
  static async open(options: OutboxOptions): Promise<Outbox> {
    const outbox = new Outbox(options);
    for (const { id } of await options.store.streams()) outbox.line(id);
    for (const { streamId, batches, samples, oldestUtcMs } of await options.store.waiting())
      Object.assign(outbox.line(streamId), { batches, samples, oldestUtcMs });
    return outbox;
  }

  get state(): OutboxState {
    const lines = [...this.lines.values()].filter((line) => line.batches > 0);
    const oldest = Math.min(...lines.map((line) => line.oldestUtcMs));
    return {
      waitingBatches: lines.reduce((sum, line) => sum + line.batches, 0),
      waitingSamples: lines.reduce((sum, line) => sum + line.samples, 0),
      oldestMs: lines.length === 0 ? 0 : Math.max(0, this.options.clock.utcMs() - oldest),
      survivesReload: this.options.store.survivesReload,
      sentence: this.sentence,
    };
  }

  setConnected(connected: boolean): void {
    this.connected = connected;
    if (!connected) return;
    for (const wake of [...this.sleepers]) wake();
    for (const id of this.lines.keys()) this.drain(id);
  }

  async openStream(recordingId: string, meterKey: string): Promise<Stream> {
    const { stream, fresh } = await this.options.store.openStream(recordingId, meterKey);
    this.line(stream.id).finished = false;
    // An empty batch goes first: where the server knows number 1 already, because this browser's storage was
    // cleared meanwhile, it drops that one, and the numbers are put right before any reading depends on them.
    if (fresh) await this.append(stream.id, { parts: [], gaps: [], events: [] });
    return stream;
  }

  /**
   * Keeps a batch and sends it when its turn comes.
   * @returns 'full' where there is no room for it, 'gone' where the recording was deleted; the readings are then not kept
   */
  async append(id: string, body: BatchBody): Promise<'kept' | 'full' | 'gone'> {
    const { store, clock, mostWaitingSamples = MOST_WAITING_SAMPLES } = this.options;
    const samples = samplesIn(body);
    if (this.state.waitingSamples + samples > mostWaitingSamples) return 'full';
    let batch;
    try {
      batch = await store.append(id, body, clock.utcMs());
    } catch (error) {
      return error instanceof NoStream ? 'gone' : 'full';
    }
    const line = this.line(id);
    if (line.batches === 0) line.oldestUtcMs = batch.utcMs;
    line.batches++;
    line.samples += samples;
    this.tell();
    this.drain(id);
    return 'kept';
  }

  /** No more batches come for this stream; it is forgotten once the server has all of them. */
  finish(id: string): void {
    this.line(id).finished = true;
    this.drain(id);
  }

  private line(id: string): Line {
    let line = this.lines.get(id);
    if (!line) {
      line = {
        batches: 0,
        samples: 0,
        oldestUtcMs: 0,
        draining: false,
        again: false,
        finished: false,
      };
      this.lines.set(id, line);
    }
    return line;
  }

  private drain(id: string): void {
    const line = this.line(id);
    line.again = true;
    if (line.draining || !this.connected) return;
    line.draining = true;
    void this.options
      .alone(`nightdraw-outbox-${id}`, () => this.sendAll(id, line))
      .catch((error: unknown) => this.complain(`Readings could not be sent: ${String(error)}`))
      .finally(() => {
        line.draining = false;
        if (line.again && this.connected) this.drain(id);
      });
  }

  private async sendAll(id: string, line: Line): Promise<void> {
    let waitMs = RETRY_MS.first;
    while (this.connected) {
      line.again = false;
      const head = await this.options.store.head(id);
      if (!head && line.again) continue;
      if (!head) return this.emptied(id, line);
      line.oldestUtcMs = head.batch.utcMs;
      const outcome = await this.sendOne(id, line, head);
      if (outcome === 'moved') waitMs = RETRY_MS.first;
      else {
        await this.pause(waitMs);
        waitMs = Math.min(waitMs * 2, RETRY_MS.longest);
      }
    }
  }

  /** Waits, or until the connection is back. */
  private pause(ms: number): Promise<void> {
    return new Promise((resolve) => {
      const wake = (): void => {
        cancel();
        this.sleepers.delete(wake);
        resolve();
      };
      const cancel = this.options.clock.after(ms, wake);
      this.sleepers.add(wake);
    });
  }

  private async sendOne(
    id: string,
    line: Line,
    { stream, batch }: NonNullable<Awaited<ReturnType<BatchStore['head']>>>,
  ): Promise<'moved' | 'stuck'> {
    const { store } = this.options;
    let reply: BatchReply;
    try {
      reply = await this.options.send({
        recordingId: stream.recordingId,
        meterKey: stream.meterKey,
        number: batch.seq + stream.shift,
        ...batch.body,
      });
    } catch {
      return 'stuck';
    }
    const verdict = judge({ seq: batch.seq, shift: stream.shift }, reply);
    switch (verdict.kind) {
      case 'done':
        await store.remove(id, batch.seq, verdict.shift);
        line.batches--;
        line.samples -= batch.samples;
        this.sentence = '';
        if (verdict.complaint !== null)
          this.complain(`The server refused some readings for good: ${verdict.complaint}`);
        this.tell();
        return 'moved';
      case 'again':
        await store.setShift(id, verdict.shift);
        return 'moved';
      case 'later':
        this.sentence = verdict.sentence;
        this.tell();
        return 'stuck';
      case 'unwanted':
        await store.drop(id);
        this.lines.delete(id);
        this.complain(`Readings that waited here are not wanted any more: ${verdict.sentence}`);
        this.tell();
        return 'moved';
    }
  }

  private async emptied(id: string, line: Line): Promise<void> {
    Object.assign(line, { batches: 0, samples: 0 });
    this.sentence = '';
    if (line.finished) {
      await this.options.store.drop(id);
      this.lines.delete(id);
    }
    this.tell();
  }

  private complain(text: string): void {
    this.options.onNotice({ level: 'warning', text: text.slice(0, 400) });
  }

  private tell(): void {
    this.options.onState(this.state);
  }
}
