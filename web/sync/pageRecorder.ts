import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import type { SessionReading } from '../../drivers/session/types.ts';
import type { Recording } from '../../server/messages/records.ts';
import type { Notice, RecordingMessage } from '../../server/messages/socket.ts';
import { CUT_BEHIND_EVERY_MS } from './batchCut.ts';
import type { ClockJump } from './clockSync.ts';
import { streamId } from './batchStore.ts';
import type { Outbox } from './outbox.ts';
import { RecentReadings } from './recentReadings.ts';
import { RecordedMeter, type SessionGap } from './recordedMeter.ts';

export interface PageRecorderOptions {
  readonly clock: Clock;
  readonly outbox: Outbox;
  /** Server's `nowMs` minus the page's, if it was measured on this connection. */
  readonly offsetOn: (connection: number) => number | null;
  readonly onNotice: (notice: Notice) => void;
}

interface Running {
  readonly recording: Recording;
  readonly startNowMs: number | null;
  /** The connection over which this was heard. */
  readonly connection: number;
}

/** How long readings wait for the server's clock after the wall clock has jumped. */
const HOLD_MS = 5000;

/**
 * Puts the readings of this page's meters into batches for every running recording that includes them.
 * What drives it are the meters' own notifications; timers only help out when those stop, because a hidden
 * page's timers are slowed down.
 */
export class PageRecorder {
  private readonly running = new Map<string, Running>();
  private readonly active = new Map<string, RecordedMeter>();
  private readonly recent = new Map<string, RecentReadings>();
  private readonly down = new Set<string>();
  private hold: { readonly jump: ClockJump; readonly sinceMs: number } | null = null;
  private timer: Cancel | null = null;

  constructor(private readonly options: PageRecorderOptions) {}

  recordings(): Recording[] {
    return [...this.running.values()].map((r) => r.recording);
  }

  isRecorded(meterKey: string): boolean {
    return [...this.active.values()].some((meter) => meter.meterKey === meterKey);
  }

  /** What the server says of a recording. */
  heard({ recording, startNowMs }: RecordingMessage, connection: number): void {
    if (recording.state === 'recording') {
      this.running.set(recording.id, { recording, startNowMs, connection });
      for (const meterKey of this.recent.keys()) this.begin(recording, meterKey);
      this.placeAll();
    } else {
      this.running.delete(recording.id);
      this.finish(recording.id, recording.durationMs);
    }
  }

  /** The recording is gone from the server; what waits for it is refused there and then forgotten. */
  deleted(recordingId: string): void {
    this.running.delete(recordingId);
    this.finish(recordingId, Infinity);
  }

  /** The clocks were matched anew. */
  clockMatched(): void {
    this.placeAll();
    this.hold = null;
  }

  /**
   * The wall clock has jumped against the page's: perhaps the computer slept. While the server can be asked,
   * readings wait for its answer; otherwise a jump forward is taken to be a sleep.
   */
  clockJumped(jump: ClockJump, serverAnswers: boolean): void {
    if (serverAnswers) this.hold = { jump, sinceMs: this.options.clock.nowMs() };
    else this.assumeSlept(jump);
  }

  meterAppeared(meterKey: string): void {
    this.recent.set(meterKey, new RecentReadings());
    for (const { recording } of this.running.values()) this.begin(recording, meterKey);
    this.placeAll();
  }

  meterGone(meterKey: string): void {
    this.recent.delete(meterKey);
    this.down.delete(meterKey);
    for (const [id, meter] of this.active) {
      if (meter.meterKey !== meterKey) continue;
      this.active.delete(id);
      void meter.finish(Infinity, false);
    }
  }

  readings(meterKey: string, readings: readonly SessionReading[]): void {
    this.recent.get(meterKey)?.add(readings);
    for (const meter of this.of(meterKey)) meter.readings(readings);
    this.cutDue();
  }

  gap(meterKey: string, gap: SessionGap): void {
    for (const meter of this.of(meterKey)) meter.gap(gap);
    this.helpOut();
  }

  link(meterKey: string, up: boolean, text: string): void {
    if (up) this.down.delete(meterKey);
    else this.down.add(meterKey);
    for (const meter of this.of(meterKey)) meter.event(up ? 'meter-connected' : 'meter-dropped', text);
    this.cutDue();
  }

  note(meterKey: string, text: string): void {
    for (const meter of this.of(meterKey)) meter.event('note', text);
    this.cutDue();
  }

  badFrame(meterKey: string, sentence: string): void {
    for (const meter of this.of(meterKey)) meter.badFrame(sentence);
    this.helpOut();
  }

  /** Puts everything into batches now, as when the page is about to go. */
  cutAll(): void {
    for (const meter of this.active.values()) meter.cut(Infinity);
  }

  close(): void {
    this.cutAll();
    this.timer?.();
  }

  private of(meterKey: string): RecordedMeter[] {
    return [...this.active.values()].filter((meter) => meter.meterKey === meterKey);
  }

  private begin(recording: Recording, meterKey: string): void {
    const id = streamId(recording.id, meterKey);
    const keys = recording.channels.filter((c) => c.meterKey === meterKey).map((c) => c.key);
    if (this.active.has(id) || keys.length === 0) return;
    const { clock, outbox, onNotice } = this.options;
    const meter = new RecordedMeter({ clock, outbox, onNotice, recordingId: recording.id, meterKey, keys });
    this.active.set(id, meter);
    // The start is heard of a moment late; what was read since then is still at hand.
    meter.readings(this.recent.get(meterKey)?.all() ?? []);
  }

  private finish(recordingId: string, durationMs: number): void {
    for (const [id, meter] of this.active) {
      if (meter.recordingId !== recordingId) continue;
      this.active.delete(id);
      void meter.finish(durationMs, this.down.has(meter.meterKey)).then(() => this.options.outbox.finish(id));
    }
  }

  private placeAll(): void {
    const fromMs = this.hold ? afterJump(this.hold.jump) : this.options.clock.nowMs();
    for (const meter of this.active.values()) {
      const running = this.running.get(meter.recordingId);
      const offsetMs = running ? this.options.offsetOn(running.connection) : null;
      if (running && running.startNowMs !== null && offsetMs !== null)
        meter.axis.shift(fromMs, offsetMs - running.startNowMs);
    }
    this.cutDue();
  }

  private assumeSlept(jump: ClockJump): void {
    if (jump.byMs <= 0) return;
    for (const meter of this.active.values()) meter.axis.jump(afterJump(jump), jump.byMs);
  }

  private cutDue(): void {
    const nowMs = this.options.clock.nowMs();
    if (this.hold) {
      if (nowMs - this.hold.sinceMs < HOLD_MS) return this.helpOut();
      this.assumeSlept(this.hold.jump);
      this.hold = null;
    }
    for (const meter of this.active.values()) meter.cutIfDue(nowMs);
    this.helpOut();
  }

  private helpOut(): void {
    const waiting = [...this.active.values()].some((meter) => !meter.empty);
    if (this.timer || !waiting) return;
    this.timer = this.options.clock.after(CUT_BEHIND_EVERY_MS / 2, () => {
      this.timer = null;
      this.cutDue();
    });
  }
}

/** Readings from this page time on were made after the jump. */
function afterJump(jump: ClockJump): number {
  return jump.afterMs + 1e-3;
}
