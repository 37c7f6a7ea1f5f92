import { describe, expect, it } from 'vitest';
import { condition } from '../../server/analysis/condition.ts';
import { FloorOverTime } from '../../server/analysis/floor.ts';
import type { Level } from '../../server/analysis/levels.ts';
import { findSleep } from '../../server/analysis/sleep.ts';
import type { Windows } from '../../server/analysis/windows.ts';
import { findNight } from '../../server/battery/findings.ts';
import { makeNight, type NightSpec } from '../helpers/nights.ts';

/** A night of narrow pulses, several or nearly one to a reading, from a minute after its start. */
function fastNight(intervalS: number, periodS: number, more: Partial<NightSpec> = {}): NightSpec {
  return {
    seed: 5,
    durationS: 3 * 3600,
    baselineA: 0.03,
    trains: [{ widthS: 0.02, amplitudeA: 0.45, stretches: [{ startS: 60.4, endS: 3 * 3600, periodS }] }],
    current: { intervalS, resolution: 1e-4, noise: 3e-4 },
    ...more,
  };
}

describe('polling that is too fast for the readings', () => {
  it.each([
    // Apparent period three readings, and the floor of the first minute belongs to no train.
    [1, 0.30003],
    [0.5, 0.30003],
    // Nearly half of the readings hold no pulse: what is low has edges as wide as what is high.
    [0.333, 0.6001],
    [0.4, 0.7301],
  ])('at %f s, true %f s: unresolved, and the truth is a candidate', (intervalS, periodS) => {
    const { polling } = findNight(makeNight(fastNight(intervalS, periodS)).input);
    expect(polling.state).toBe('unresolved');
    expect(polling.candidatePeriodsS.some((p) => Math.abs(p / periodS - 1) < 2e-3)).toBe(true);
  });

  it('a wake-up is weighed above the floor that it was measured from, polling once', () => {
    // Five of six readings hold a pulse, so that the usual floor is theirs.
    const wake = { startS: 6000.3, durationS: 9, amplitudeA: 0.2 };
    const { wakeUps } = findNight(makeNight(fastNight(0.5, 0.59989, { wakeUps: [wake] })).input);
    expect(wakeUps).toHaveLength(1);
    expect(Math.abs(wakeUps[0]!.chargeC / (wake.durationS * wake.amplitudeA) - 1)).toBeLessThan(0.02);
  });
});

describe('the lowest floor of a stretch', () => {
  const windows: Windows = {
    count: 4,
    lengthS: 10,
    from: Int32Array.of(0, 10, 20, 30, 40),
    startS: Float64Array.of(0, 10, 20, 30),
    endS: Float64Array.of(10, 20, 30, 40),
    floor: Float64Array.of(1, 2, 3, 4),
    mean: Float64Array.of(1, 2, 3, 4),
    noise: 0.1,
  };
  const floor = new FloorOverTime(windows, [], windows.floor);

  it('is that of whole windows', () => expect(floor.lowest(11, 40)).toBe(3));
  it('is that of the windows it touches where it fills none', () => expect(floor.lowest(12, 19)).toBe(2));
});

describe('a step under polling that is too fast', () => {
  it('is where it is, though the readings left of its window hold more pulses than not', () => {
    // Ten readings after the step two of three hold a pulse more, and then half of one for a while.
    const y = Float64Array.from({ length: 400 }, (_, i) =>
      i < 90 ? 0.2 : i % 3 === 0 ? 0.04 : i >= 100 && i < 150 && i % 3 === 1 ? 0.046 : 0.051,
    );
    const c = condition({
      quantity: 'current',
      unit: 'A',
      t: y.map((_, i) => i + 1),
      y,
      resolution: 1e-4,
      apertureS: 1,
      accuracy: null,
      gaps: [],
    });
    const level = (from: number, to: number, height: number, first: number, last: number): Level => ({
      from,
      to,
      startS: from,
      endS: to,
      startLevel: height,
      endLevel: height,
      firstWindow: first,
      lastWindow: last,
    });
    const levels = [level(0, 90, 0.2, 0, 0), level(90, 150, 0.051, 2, 1), level(150, 400, 0.04, 3, 7)];
    const { state, timeToSleepS } = findSleep(c, { levels, floorNoise: 1e-4, leastStep: () => 1e-3 });
    expect({ state, timeToSleepS }).toEqual({ state: 'slept', timeToSleepS: 90 });
  });
});
