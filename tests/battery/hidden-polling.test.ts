import { describe, expect, it } from 'vitest';
import { findNight } from '../../server/battery/findings.ts';
import { hardNight } from '../helpers/hard-nights.ts';
import { makeNight } from '../helpers/nights.ts';

describe('polling that no single reading shows', () => {
  it('is taken off the floor by the time that was seen: it stops before a pause of the radio', () => {
    const night = makeNight({
      seed: 4,
      durationS: 4 * 3600,
      baselineA: 0.02,
      trains: [{ widthS: 0.3, amplitudeA: 6e-3, stretches: [{ startS: 60, endS: 5400, periodS: 0.7 }] }],
      current: {
        intervalS: 0.05,
        resolution: 1e-4,
        noise: 6e-3,
        dropouts: [{ startS: 8000, endS: 11_000 }],
      },
    });
    const { sleep, polling } = findNight(night.input);
    expect(polling.regimes).toHaveLength(1);
    const { value, expandedUncertainty } = sleep.settledBaselineA!;
    expect(Math.abs(value - 0.02)).toBeLessThan(1.5 * expandedUncertainty);
    expect(expandedUncertainty).toBeLessThan(1.5e-4);
  });
});

/** Pulses of two readings of 10 mA a digit: on a wake-up a digit more or less of each keeps a slow rhythm for a while. */
describe('pulses that ride on a wake-up', () => {
  it('are no trains of their own', () => {
    const spec = hardNight('tenMilliamps', 8);
    const { polling } = findNight(makeNight(spec).input);
    expect(polling.regimes.map((r) => r.periodS!.value.toFixed(3))).toEqual(['0.460', '0.920']);
  });
});
