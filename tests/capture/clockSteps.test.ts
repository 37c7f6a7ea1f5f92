import { describe, expect, it } from 'vitest';
import { clockStepText, watchClock, type ClockStep } from '../../server/capture/clockSteps.ts';
import { ManualClock } from '../helpers/manualClock.ts';

async function stepsWhile(change: (clock: ManualClock) => Promise<void>): Promise<ClockStep[]> {
  const clock = new ManualClock();
  const steps: ClockStep[] = [];
  const stop = watchClock(clock, (step) => steps.push(step));
  await change(clock);
  stop();
  clock.stepWallClock(60_000);
  await clock.advance(10_000);
  return steps;
}

describe('steps of the wall clock', () => {
  it('are told once, with their size and sign', async () => {
    const steps = await stepsWhile(async (clock) => {
      await clock.advance(5500);
      clock.stepWallClock(-2000);
      await clock.advance(60_000);
      clock.stepWallClock(3_600_000);
      await clock.advance(60_000);
    });
    expect(steps).toEqual([
      { atMs: 6000, stepMs: -2000 },
      { atMs: 66_000, stepMs: 3_600_000 },
    ]);
  });

  it('are not seen in the slow correction of a time service', async () => {
    // 500 ppm is the fastest that adjtime(2) slews (Linux manual; from memory).
    const steps = await stepsWhile(async (clock) => {
      for (let second = 0; second < 3600; second++) {
        clock.stepWallClock(0.5);
        await clock.advance(1000);
      }
    });
    expect(steps).toEqual([]);
  });

  it('read as a sentence that does not mistake sleep for a step', () => {
    expect(clockStepText(-2000)).toBe("The computer's clock went back by 2.0 s.");
    expect(clockStepText(3_600_000)).toBe(
      "The computer's clock went forward by 60.0 min, or the computer slept for that long.",
    );
  });
});
