import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import type { Commit, Store } from '../store/store.ts';

/** One that has something to store now and then. */
export interface Member {
  /** What waits; null where nothing does, or where the member is waiting for better times. */
  step(): Commit | null;
  /** The step is durable. @returns whether more waits already */
  stored(): boolean;
  /** The step could not be stored, and no other was to blame. */
  failed(error: unknown): void;
  /** Stores all that waits, alone, and copes with what goes wrong. */
  flush(): boolean;
}

/** How long readings wait for one write to the disk. */
export const COMMIT_EVERY_MS = 250;

/**
 * One write to the disk for all recordings: each write costs the disk two pages, however little is in it. When the
 * common write fails, each recording tries alone, so that one of them cannot keep the others from being stored.
 */
export class CommitGroup {
  private readonly waiting = new Set<Member>();
  private timer: Cancel | null = null;
  private tookMs = 0;

  constructor(
    private readonly store: Pick<Store, 'commitAll'>,
    private readonly clock: Clock,
    private readonly everyMs: number,
  ) {}

  /** A write that takes long is done less often, so that the readings keep arriving between two of them. */
  schedule(member: Member): void {
    this.waiting.add(member);
    const delay = Math.max(this.everyMs, 2 * this.tookMs);
    this.timer ??= this.clock.after(delay, () => this.write());
  }

  leave(member: Member): void {
    this.waiting.delete(member);
    if (this.waiting.size > 0) return;
    this.timer?.();
    this.timer = null;
  }

  private write(): void {
    this.timer = null;
    const begunMs = this.clock.nowMs();
    const members = [...this.waiting];
    this.waiting.clear();
    const steps = members.map((m) => m.step());
    const ready = members.filter((_, k) => steps[k] !== null);
    try {
      this.store.commitAll(steps.filter((step) => step !== null));
      for (const member of ready) if (member.stored()) member.flush();
    } catch (error) {
      if (ready.length === 1) ready[0]!.failed(error);
      else for (const member of ready) member.flush();
    }
    this.tookMs = this.clock.nowMs() - begunMs;
  }
}
