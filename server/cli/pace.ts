import type { Clock } from '../../drivers/core/clock.ts';
import type { SimClock } from '../simulator/clock.ts';

/** Lets time pass on a clock. */
export interface Pace {
  /** Resolves when the clock reads `untilMs`, or soon after `done` has become true. */
  pass(untilMs: number, done: () => boolean): Promise<void>;
}

const LOOK_EVERY_MS = 20;

export function realPace(clock: Clock): Pace {
  return {
    async pass(untilMs, done) {
      while (clock.nowMs() < untilMs && !done())
        await sleep(Math.min(LOOK_EVERY_MS, untilMs - clock.nowMs()));
    },
  };
}

/**
 * Drives a virtual clock `speed` times as fast as real time, or as fast as the machine can where `speed` is 0.
 * After each timer, everything that waits for it gets its turn.
 */
export function virtualPace(clock: SimClock, real: Clock, speed: number): Pace {
  return {
    async pass(untilMs, done) {
      const fromReal = real.nowMs();
      const fromMs = clock.nowMs();
      const finished = () => clock.nowMs() >= untilMs || done();
      // The turn comes first: what needs no time, such as connecting, is then done before any passes.
      for (await turn(); !finished(); await turn()) {
        const target = speed === 0 ? untilMs : Math.min(untilMs, fromMs + (real.nowMs() - fromReal) * speed);
        if (clock.nowMs() < target) clock.advanceTo(Math.min(clock.nextAt() ?? target, target));
        else await sleep(LOOK_EVERY_MS);
      }
    },
  };
}

function turn(): Promise<void> {
  return new Promise((resolve) => setImmediate(resolve));
}

function sleep(ms: number): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve, Math.max(1, ms)));
}
