import type { Clock } from '../../core/clock.ts';

/** The page's clocks: `performance.now` never steps, `Date.now` follows the wall clock. */
export const pageClock: Clock = {
  nowMs: () => performance.now(),
  utcMs: () => Date.now(),
  after(delayMs, run) {
    const timer = setTimeout(run, delayMs);
    return () => clearTimeout(timer);
  },
};
