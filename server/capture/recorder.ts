import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Gap, RecordingEvent } from '../messages/records.ts';
import type { Store } from '../store/store.ts';
import { WaitingSamples, type Lost } from './waiting.ts';

export interface RecorderOptions {
  readonly store: Pick<Store, 'commit'>;
  readonly clock: Clock;
  readonly recordingId: string;
  /** The recording's zero on `clock.nowMs`. */
  readonly startNowMs: number;
  /** Readings of so long share one durable write. */
  readonly commitEveryMs?: number;
  /** The most samples that wait in memory while the store cannot write. */
  readonly waitingLimit?: number;
  readonly retryMs?: { readonly first: number; readonly longest: number };
  /** Told once when writing stops working and once when it works again. */
  readonly onTrouble?: (trouble: { readonly over: boolean; readonly sentence: string }) => void;
}

const COMMIT_EVERY_MS = 250;
/** About 28 hours of one channel at 10 readings a second, some 50 MB. */
const WAITING_LIMIT = 1_000_000;
const RETRY_MS = { first: 1000, longest: 15_000 };

/**
 * Makes the readings of one recording durable, in groups. What the store cannot take stays in memory and is
 * tried again; when memory is full too, the oldest go, and the recording says so with a gap.
 */
export class Recorder {
  private readonly waiting: WaitingSamples;
  private gaps: Gap[] = [];
  private events: RecordingEvent[] = [];
  private readonly lost = new Map<number, Lost>();
  private trouble: { readonly sinceMs: number; tries: number; lostSamples: number } | null = null;
  private timer: Cancel | null = null;
  private tookMs = 0;
  private gone = false;

  constructor(private readonly options: RecorderOptions) {
    this.waiting = new WaitingSamples(options.waitingLimit ?? WAITING_LIMIT);
  }

  /** Samples that are not durable yet. */
  get waitingSamples(): number {
    return this.waiting.length;
  }

  /** One reading; `t` in milliseconds from the recording's start. */
  add(channelId: number, t: number, reading: { counts: number; scale: number; flags: number }): void {
    if (this.gone) return;
    for (const lost of this.waiting.add(channelId, t, reading.counts, reading.scale, reading.flags))
      this.remember(lost);
    if (this.waiting.groupReady && this.trouble === null) this.flush();
    else this.schedule();
  }

  addGap(gap: Gap): void {
    if (this.gone) return;
    this.gaps.push(gap);
    this.schedule();
  }

  addEvent(event: RecordingEvent): void {
    if (this.gone) return;
    this.events.push(event);
    this.schedule();
  }

  /** Writes all that waits. @returns false when the store could not take it; it is then tried again later */
  flush(): boolean {
    this.timer?.();
    this.timer = null;
    const begunMs = this.options.clock.nowMs();
    try {
      while (this.waiting.length + this.gaps.length + this.events.length + this.lost.size > 0) this.commit();
    } catch (error) {
      this.failed(error);
      return this.gone;
    }
    this.tookMs = this.options.clock.nowMs() - begunMs;
    return true;
  }

  /** Stops trying again. Call `flush` first where what waits still matters. */
  close(): void {
    this.timer?.();
    this.timer = null;
    this.gone = true;
  }

  private commit(): void {
    const lostGaps = [...this.lost.values()].map(({ channelId, startMs, endMs }): Gap => ({
      channelId,
      startMs,
      endMs,
      reason: 'disk-full',
    }));
    this.options.store.commit({
      recordingId: this.options.recordingId,
      samples: this.waiting.oldest(),
      gaps: [...this.gaps, ...lostGaps],
      events: this.events,
      batch: null,
    });
    this.waiting.removeOldest();
    this.gaps = [];
    this.events = [];
    this.lost.clear();
    if (this.trouble !== null) this.recovered(this.trouble);
  }

  private failed(error: unknown): void {
    const { clock, onTrouble, retryMs = RETRY_MS } = this.options;
    if (error instanceof NightdrawError && error.code === 'not-found') {
      this.close(); // The recording was deleted meanwhile.
      return;
    }
    if (this.trouble === null) {
      this.trouble = { sinceMs: clock.nowMs(), tries: 0, lostSamples: 0 };
      const sentence = error instanceof Error ? error.message : String(error);
      onTrouble?.({ over: false, sentence });
    }
    const wait = Math.min(retryMs.first * 2 ** this.trouble.tries++, retryMs.longest);
    this.timer = clock.after(wait, () => this.flush());
  }

  private recovered(trouble: { sinceMs: number; lostSamples: number }): void {
    const { clock, startNowMs, onTrouble } = this.options;
    this.trouble = null;
    const seconds = Math.round((clock.nowMs() - trouble.sinceMs) / 1000);
    const sentence =
      `The database could not be written for ${seconds} s; ` +
      (trouble.lostSamples === 0 ? 'no reading was lost.' : `${trouble.lostSamples} readings were lost.`);
    this.events.push({ atMs: trouble.sinceMs - startNowMs, kind: 'disk-full', text: sentence, value: null });
    onTrouble?.({ over: true, sentence });
  }

  private remember(lost: Lost): void {
    const before = this.lost.get(lost.channelId);
    this.lost.set(lost.channelId, {
      ...lost,
      startMs: Math.min(before?.startMs ?? lost.startMs, lost.startMs),
      endMs: Math.max(before?.endMs ?? lost.endMs, lost.endMs),
    });
    if (this.trouble !== null) this.trouble.lostSamples += lost.samples;
  }

  /** A write that takes long is done less often, so that the readings keep arriving between two of them. */
  private schedule(): void {
    if (this.timer !== null || this.trouble !== null) return;
    const delay = Math.max(this.options.commitEveryMs ?? COMMIT_EVERY_MS, 2 * this.tookMs);
    this.timer = this.options.clock.after(delay, () => this.flush());
  }
}
