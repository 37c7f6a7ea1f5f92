import type { Clock } from '../../drivers/core/clock.ts';
import type { SessionHooks, SessionReading } from '../../drivers/session/types.ts';
import type { Batch, Notice } from '../../server/messages/socket.ts';
import { RecordingAxis } from './axis.ts';
import { PendingReadings, type BatchBody } from './batchCut.ts';
import { streamId } from './batchStore.ts';
import type { Outbox } from './outbox.ts';

export type SessionGap = Parameters<SessionHooks['onGap']>[0];

export interface RecordedMeterOptions {
  readonly clock: Clock;
  readonly outbox: Outbox;
  readonly onNotice: (notice: Notice) => void;
  readonly recordingId: string;
  readonly meterKey: string;
  /** Channels that the recording wants of this meter. */
  readonly keys: readonly string[];
}

/** Half a minute's batches of one meter. */
const MANY_BATCHES = 60;
const BAD_FRAMES_EVERY_MS = 60_000;

/** One meter of this page in one running recording: from readings to kept batches. */
export class RecordedMeter {
  readonly axis = new RecordingAxis();
  readonly meterKey: string;
  readonly recordingId: string;
  private readonly id: string;
  private readonly pending: PendingReadings;
  /** Until the stream is open nothing is cut; afterwards, what is being kept, in order. */
  private opened = false;
  private keeping: Promise<void>;
  private lastReadingMs: number | null = null;
  private readonly noRoom = new Map<string, { startMs: number; endMs: number }>();
  private gone = false;
  private badFrames = { saidMs: -Infinity, unsaid: 0 };

  constructor(private readonly options: RecordedMeterOptions) {
    this.meterKey = options.meterKey;
    this.recordingId = options.recordingId;
    this.id = streamId(this.recordingId, this.meterKey);
    this.pending = new PendingReadings(new Set(options.keys), options.clock.nowMs());
    this.keeping = this.open();
  }

  get empty(): boolean {
    return this.pending.empty;
  }

  readings(readings: readonly SessionReading[]): void {
    this.lastReadingMs = readings.at(-1)?.atMs ?? this.lastReadingMs;
    this.pending.add(readings);
  }

  gap({ startMs, endMs, reason, channel }: SessionGap): void {
    this.pending.gap(startMs, endMs, reason, channel);
  }

  event(kind: Batch['events'][number]['kind'], text: string): void {
    this.pending.event(this.options.clock.nowMs(), kind, text);
  }

  /** The first is said at once, more of them once a minute with their number. */
  badFrame(sentence: string): void {
    const nowMs = this.options.clock.nowMs();
    this.badFrames.unsaid++;
    if (nowMs - this.badFrames.saidMs < BAD_FRAMES_EVERY_MS) return;
    const { unsaid } = this.badFrames;
    this.event('bad-frame', unsaid === 1 ? sentence : `${sentence} (${unsaid} such frames)`);
    this.badFrames = { saidMs: nowMs, unsaid: 0 };
  }

  cutIfDue(nowMs: number): void {
    const behind = this.options.outbox.state.waitingBatches > MANY_BATCHES;
    if (this.pending.due(nowMs, behind)) this.cut(Infinity);
  }

  /** Makes batches of what waits, up to `untilMs` on the axis. Nothing happens until the axis is known. */
  cut(untilMs: number): void {
    if (!this.opened || this.pending.empty || !this.axis.known) return;
    const bodies = this.pending.cut(this.options.clock.nowMs(), (ms) => this.axis.at(ms), untilMs);
    if (bodies.length > 0) this.keeping = this.keeping.then(() => this.keepAll(bodies));
  }

  /** The recording has ended, or this meter has left the page; the last batches are made, and no more come. */
  async finish(untilMs: number, isDown: boolean): Promise<void> {
    await this.keeping;
    if (isDown && this.lastReadingMs !== null)
      this.pending.gap(this.lastReadingMs, this.options.clock.nowMs(), 'dropped');
    this.cut(untilMs);
    await this.keeping;
    await this.sayNoRoom();
  }

  private async open(): Promise<void> {
    try {
      const { lastMs } = await this.options.outbox.openStream(this.recordingId, this.meterKey);
      this.pending.resumeFrom(lastMs);
      this.opened = true;
    } catch {
      this.options.onNotice({
        level: 'error',
        text: 'This browser refuses to store readings, so its meters are not recorded. Free some disk space or allow storage for this page, then reload it.',
      });
    }
  }

  private async keepAll(bodies: readonly BatchBody[]): Promise<void> {
    for (const body of bodies) {
      if (this.gone) return;
      if ((await this.keep(body)) === 'full') this.noteNoRoom(body);
      else await this.sayNoRoom();
    }
  }

  private async keep(body: BatchBody): Promise<'kept' | 'full' | 'gone'> {
    const outcome = await this.options.outbox.append(this.id, body);
    if (outcome === 'gone') this.gone = true;
    return outcome;
  }

  /** Puts what was lost for want of room into the recording as a gap. */
  private async sayNoRoom(): Promise<void> {
    if (this.noRoom.size === 0) return;
    const gaps = [...this.noRoom].map(([key, span]) => ({ key, ...span, reason: 'overrun' as const }));
    if ((await this.keep({ parts: [], gaps, events: [] })) === 'kept') this.noRoom.clear();
  }

  private noteNoRoom(body: BatchBody): void {
    if (this.noRoom.size === 0)
      this.options.onNotice({
        level: 'error',
        text: 'This browser has no more room for readings that wait for the server; what comes now is lost until some are sent.',
      });
    for (const { key, samples } of body.parts) {
      const first = samples.t[0] ?? 0;
      const startMs = Math.min(this.noRoom.get(key)?.startMs ?? first, first);
      this.noRoom.set(key, { startMs, endMs: Math.max(samples.t.at(-1) ?? first, startMs) });
    }
  }
}
