import type { Cancel, Clock } from '../../drivers/core/clock.ts';

export interface ClockStep {
  /** On the clock's `nowMs`. */
  readonly atMs: number;
  /** Positive: the wall clock went forward. */
  readonly stepMs: number;
}

/**
 * Tells when the wall clock moves against the monotonic one. Slow corrections are followed without a word:
 * a time service slews by at most 500 ppm (adjtime(2) on Linux; from memory), half a millisecond a second.
 */
export function watchClock(
  clock: Clock,
  onStep: (step: ClockStep) => void,
  { everyMs = 1000, smallestMs = 200 } = {},
): Cancel {
  let offsetMs = clock.utcMs() - clock.nowMs();
  let cancel: Cancel = () => undefined;
  const look = () => {
    const atMs = clock.nowMs();
    const now = clock.utcMs() - atMs;
    const stepMs = now - offsetMs;
    offsetMs = now;
    cancel = clock.after(everyMs, look);
    if (Math.abs(stepMs) >= smallestMs) onStep({ atMs, stepMs });
  };
  cancel = clock.after(everyMs, look);
  return () => cancel();
}

/** One sentence for the recording. The monotonic clock stands still while a computer sleeps, hence the second half. */
export function clockStepText(stepMs: number): string {
  const seconds = Math.abs(stepMs) / 1000;
  const size = seconds < 120 ? `${seconds.toFixed(1)} s` : `${(seconds / 60).toFixed(1)} min`;
  return stepMs > 0
    ? `The computer's clock went forward by ${size}, or the computer slept for that long.`
    : `The computer's clock went back by ${size}.`;
}
