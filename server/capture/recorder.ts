import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Gap, RecordingEvent } from '../messages/records.ts';
import type { Commit, Store } from '../store/store.ts';
import { COMMIT_EVERY_MS, CommitGroup, type Member } from './commitGroup.ts';
import { WaitingSamples, type Lost } from './waiting.ts';

export interface RecorderOptions {
  readonly store: Pick<Store, 'commitAll'>;
  readonly clock: Clock;
  readonly recordingId: string;
  /** The recording's zero on `clock.nowMs`. */
  readonly startNowMs: number;
  /** With whom writes are shared; alone where it is missing. */
  readonly group?: CommitGroup;
  /** The most samples that wait in memory while the store cannot write. */
  readonly waitingLimit?: number;
  readonly retryMs?: { readonly first: number; readonly longest: number };
  /** Told once when writing stops working and once when it works again. */
  readonly onTrouble?: (trouble: { readonly over: boolean; readonly sentence: string }) => void;
}

/** About 28 hours of one channel at 10 readings a second, some 50 MB. */
const WAITING_LIMIT = 1_000_000;
const RETRY_MS = { first: 1000, longest: 15_000 };

/**
 * Makes the readings of one recording durable, in groups. What the store cannot take stays in memory and is
 * tried again; when memory is full too, the oldest go, and the recording says so with a gap.
 */
export class Recorder implements Member {
  private readonly group: CommitGroup;
  private readonly waiting: WaitingSamples;
  private gaps: Gap[] = [];
  private events: RecordingEvent[] = [];
  private readonly lost = new Map<number, Lost>();
  private trouble: { readonly sinceMs: number; tries: number; lostSamples: number } | null = null;
  private retry: Cancel | null = null;
  private gone = false;

  constructor(private readonly options: RecorderOptions) {
    this.waiting = new WaitingSamples(options.waitingLimit ?? WAITING_LIMIT);
    this.group = options.group ?? new CommitGroup(options.store, options.clock, COMMIT_EVERY_MS);
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
    this.group.leave(this);
    this.retry?.();
    this.retry = null;
    try {
      for (let step = this.next(); step !== null; step = this.next()) {
        this.options.store.commitAll([step]);
        this.took();
      }
    } catch (error) {
      this.failed(error);
      return this.gone;
    }
    return true;
  }

  step(): Commit | null {
    return this.trouble === null && !this.gone ? this.next() : null;
  }

  stored(): boolean {
    this.took();
    return this.next() !== null;
  }

  /** Stops trying again. Call `flush` first where what waits still matters. */
  close(): void {
    this.group.leave(this);
    this.retry?.();
    this.retry = null;
    this.gone = true;
  }

  /** The next step; null where nothing waits. */
  private next(): Commit | null {
    if (this.waiting.length + this.gaps.length + this.events.length + this.lost.size === 0) return null;
    const lostGaps = [...this.lost.values()].map(({ channelId, startMs, endMs }): Gap => ({
      channelId,
      startMs,
      endMs,
      reason: 'disk-full',
    }));
    return {
      recordingId: this.options.recordingId,
      samples: this.waiting.oldest(),
      gaps: [...this.gaps, ...lostGaps],
      events: this.events,
      batch: null,
    };
  }

  /** The last `next` is durable. */
  private took(): void {
    this.waiting.removeOldest();
    this.gaps = [];
    this.events = [];
    this.lost.clear();
    if (this.trouble !== null) this.recovered(this.trouble);
  }

  failed(error: unknown): void {
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
    this.retry = clock.after(wait, () => this.flush());
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

  private schedule(): void {
    if (this.trouble === null) this.group.schedule(this);
  }
}
