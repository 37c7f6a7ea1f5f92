import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import { durationText } from '../messages/figures.ts';

export interface ClockStep {
  /** On the clock's `nowMs`. */
  readonly atMs: number;
  /** Positive: the wall clock went forward. */
  readonly stepMs: number;
}

/** The computer slept, or stood still so that nothing ran. */
export interface Sleep {
  /** On the clock's `nowMs`: noticed then, not yet noticed before. */
  readonly atMs: number;
  readonly beforeMs: number;
  /** What the clock's `nowMs` missed of it: all of it where the monotonic clock stands still meanwhile, else 0. */
  readonly missedMs: number;
}

export interface WatchClockOptions {
  readonly onSleep?: (sleep: Sleep) => void;
  /** Milliseconds that this computer has slept since it was started; null where the system does not say. */
  readonly suspendedMs?: () => number | null;
  readonly everyMs?: number;
  readonly smallestMs?: number;
}

/** A shorter sleep is taken for a hiccup. */
const SHORTEST_SLEEP_MS = 2000;
/** So late no timer is, on a computer that runs. */
const LATE_MS = 15_000;

/**
 * Tells when the wall clock moves against the monotonic one. Slow corrections are followed without a word:
 * a time service slews by at most 500 ppm (adjtime(2) on Linux; from memory), half a millisecond a second.
 * What the computer slept meanwhile is no step: it is told as sleep.
 */
export function watchClock(
  clock: Clock,
  onStep: (step: ClockStep) => void,
  options: WatchClockOptions = {},
): Cancel {
  const { everyMs = 1000, smallestMs = 200, onSleep, suspendedMs = () => null } = options;
  let offsetMs = clock.utcMs() - clock.nowMs();
  let suspended = suspendedMs();
  let lookedMs = clock.nowMs();
  let cancel: Cancel = () => undefined;
  const look = () => {
    const atMs = clock.nowMs();
    const now = clock.utcMs() - atMs;
    const slept = sleptSince(suspended, (suspended = suspendedMs()));
    const stepMs = now - offsetMs - slept;
    const beforeMs = lookedMs;
    offsetMs = now;
    lookedMs = atMs;
    cancel = clock.after(everyMs, look);
    if (slept > 0 || atMs - beforeMs > everyMs + LATE_MS) onSleep?.({ atMs, beforeMs, missedMs: slept });
    if (Math.abs(stepMs) >= smallestMs) onStep({ atMs, stepMs });
  };
  cancel = clock.after(everyMs, look);
  return () => cancel();
}

function sleptSince(before: number | null, now: number | null): number {
  const slept = before === null || now === null ? 0 : now - before;
  return slept >= SHORTEST_SLEEP_MS ? slept : 0;
}

export function sleepText({ atMs, beforeMs, missedMs }: Sleep): string {
  return `The computer slept or stood still for ${durationText((missedMs + atMs - beforeMs) / 1000)}; nothing was recorded meanwhile.`;
}

/** One sentence for the recording. The monotonic clock stands still while a computer sleeps, hence the second half. */
export function clockStepText(stepMs: number): string {
  const seconds = Math.abs(stepMs) / 1000;
  const size = seconds < 120 ? `${seconds.toFixed(1)} s` : `${(seconds / 60).toFixed(1)} min`;
  return stepMs > 0
    ? `The computer's clock went forward by ${size}, or the computer slept for that long.`
    : `The computer's clock went back by ${size}.`;
}
