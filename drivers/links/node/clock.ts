import type { Clock } from '../../core/clock.ts';

/**
 * Milliseconds on the system's monotonic clock. Its zero is the system's, not this process's, so stamps
 * taken in the radio process and here are on one time base.
 */
export function monotonicMs(): number {
  const [seconds, nanoseconds] = process.hrtime();
  return seconds * 1000 + nanoseconds / 1e6;
}

/** The process's clocks. */
export const processClock: Clock = {
  nowMs: monotonicMs,
  utcMs: () => Date.now(),
  after(delayMs, run) {
    const timer = setTimeout(run, delayMs);
    return () => clearTimeout(timer);
  },
};
