import type { Clock } from '../../drivers/core/clock.ts';

/** A clock that moves only when a test says so; pending promises settle between two timers. */
export class ManualClock implements Clock {
  private now = 0;
  private utcOffset = 1_700_000_000_000;
  private timers: { at: number; run: () => void }[] = [];

  nowMs(): number {
    return this.now;
  }

  utcMs(): number {
    return this.now + this.utcOffset;
  }

  stepWallClock(ms: number): void {
    this.utcOffset += ms;
  }

  after(delayMs: number, run: () => void): () => void {
    const timer = { at: this.now + delayMs, run };
    this.timers.push(timer);
    return () => {
      this.timers = this.timers.filter((t) => t !== timer);
    };
  }

  async advance(ms: number): Promise<void> {
    const end = this.now + ms;
    for (;;) {
      await settle();
      const next = this.timers.filter((t) => t.at <= end).sort((a, b) => a.at - b.at)[0];
      if (!next) break;
      this.timers = this.timers.filter((t) => t !== next);
      this.now = Math.max(this.now, next.at);
      next.run();
    }
    this.now = end;
    await settle();
  }
}

function settle(): Promise<void> {
  return new Promise((resolve) => setImmediate(resolve));
}
