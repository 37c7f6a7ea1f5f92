import { describe, expect, it } from 'vitest';
import { FloorOverTime } from '../../server/analysis/floor.ts';
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
