import type { Cancel, Clock } from '../../drivers/core/clock.ts';

interface Timer {
  readonly atMs: number;
  readonly run: () => void;
}

/**
 * A clock that moves only when told to, so that whoever drives it sets the pace: real time, N times real
 * time, or as fast as the machine can. Timers run in order of their time, equal times in the order set.
 */
export class SimClock implements Clock {
  private now: number;
  private readonly utcAtZeroMs: number;
  /** Sorted, the next timer last. */
  private readonly timers: Timer[] = [];

  /** `startUtcMs` is the wall-clock time at which this clock reads `startMs`. */
  constructor(startUtcMs: number, startMs = 0) {
    this.now = startMs;
    this.utcAtZeroMs = startUtcMs - startMs;
  }

  nowMs(): number {
    return this.now;
  }

  utcMs(): number {
    return this.utcAtZeroMs + this.now;
  }

  after(delayMs: number, run: () => void): Cancel {
    const timer: Timer = { atMs: this.now + Math.max(0, delayMs), run };
    let at = this.timers.length;
    while (at > 0 && this.timers[at - 1]!.atMs <= timer.atMs) at--;
    this.timers.splice(at, 0, timer);
    return () => {
      const index = this.timers.indexOf(timer);
      if (index >= 0) this.timers.splice(index, 1);
    };
  }

  /** When the next timer is due, or null when none is set. */
  nextAt(): number | null {
    return this.timers.at(-1)?.atMs ?? null;
  }

  /**
   * Runs all timers that are due up to and including `ms`, among them those that are set on the way; then
   * the clock reads `ms`. Promise continuations run between calls, so a caller with asynchronous listeners
   * advances to `nextAt()` again and again rather than once to the end.
   */
  advanceTo(ms: number): void {
    for (let next = this.timers.at(-1); next !== undefined && next.atMs <= ms; next = this.timers.at(-1)) {
      this.timers.pop();
      this.now = Math.max(this.now, next.atMs);
      next.run();
    }
    this.now = Math.max(this.now, ms);
  }
}
