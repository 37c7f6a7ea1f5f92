import { describe, expect, it } from 'vitest';
import { resolvePeriod, type SeenTrain } from '../../server/analysis/resolvability.ts';

/** What a meter shows of a train: apparent period, share of readings with one pulse more, floor. */
function shown(
  trueS: number,
  intervalS: number,
  apertureS: number,
  chargeC: number,
  baseA: number,
): SeenTrain {
  const turns = intervalS / trueS;
  const off = Math.abs(turns - Math.round(turns));
  const whole = Math.floor(apertureS / trueS + 1e-9);
  const reading = chargeC / apertureS;
  return {
    periodS: intervalS / off,
    top: reading,
    meanExcess: reading * (apertureS / trueS - whole),
    floor: baseA + whole * reading,
    floorUncertainty: 1e-4,
    intervalS,
    apertureS,
  };
}

const near = (list: readonly number[], p: number): boolean => list.some((c) => Math.abs(c / p - 1) < 2e-3);

describe('what a period can be resolved from', () => {
  // Apparent periods as computed for published polling periods and handheld meters' rates.
  it.each([
    [0.25, 1 / 3, 1.0],
    [0.25, 0.4, 1.0],
    [0.6, 0.4, 1.2],
    [0.3, 0.4, 1.2],
    [0.75, 0.4, 0.857],
    [0.75, 0.5, 1.5],
    [0.3, 1, 3.0],
  ])('true %f s at %f s shows as %f s, is unresolved, and the truth is a candidate', (p, ts, apparent) => {
    const seen = shown(p, ts, 0.1, 0.006, 0.03);
    expect(seen.periodS).toBeCloseTo(apparent, 2);
    const { resolved, candidates } = resolvePeriod(seen);
    expect(resolved).toBe(false);
    expect(near(candidates, p)).toBe(true);
    expect(candidates.every((c) => c <= 2)).toBe(true);
  });

  it('back to back, a faster train on a high floor reads like a slower one: unresolved', () => {
    const { resolved, candidates } = resolvePeriod(shown(0.75, 0.1, 0.1, 0.001, 0.03));
    expect(resolved).toBe(false);
    expect(near(candidates, 0.75)).toBe(true);
    expect(near(candidates, 1 / (10 + 1 / 0.75))).toBe(true);
  });

  it('is resolved where the pulses would need more floor than there is', () => {
    expect(resolvePeriod(shown(0.75, 0.1, 0.1, 0.012, 0.03))).toEqual({
      resolved: true,
      candidates: [],
      floorIsBare: true,
    });
    expect(resolvePeriod(shown(0.25, 0.1, 0.1, 0.012, 0.03)).resolved).toBe(true);
  });

  it('is resolved where sampling is faster than any exchange with a fob', () => {
    expect(resolvePeriod(shown(0.25, 0.005, 0.005, 1e-5, 0.03)).resolved).toBe(true);
  });

  it('with dead time, few readings in a pulse prove a slow train', () => {
    expect(resolvePeriod(shown(3.1, 0.4, 0.1, 0.012, 0.03)).resolved).toBe(true);
  });

  describe('with dead time, in step with the readings', () => {
    /** Ten places in 2.3 readings, of which so many show a pulse. */
    const inStep = (places: number, apertureS: number): SeenTrain => ({
      periodS: 2.3 / 2,
      top: 0.3,
      meanExcess: (0.3 * places) / 23,
      floor: 0.02,
      floorUncertainty: 1e-4,
      intervalS: 0.5,
      apertureS: apertureS / 2,
      readingsPerBeat: (2.3 * places) / 23,
      unvisited: 1 / 23,
    });

    it('is unresolved where the nearest faster train would show in as many places', () => {
      const { resolved, candidates } = resolvePeriod(inStep(5, 0.4234));
      expect(resolved).toBe(false);
      expect(near(candidates, 1.15)).toBe(true);
      expect(near(candidates, 0.8846)).toBe(true);
    });

    it('is resolved where that would show in more', () =>
      expect(resolvePeriod(inStep(5, 0.57)).resolved).toBe(true));
  });

  it.each([2, 3])(
    'more charge in %f periods than the readings seen of them can bring is unresolved, the truth a candidate',
    (several) => {
      // Of the pulses that touch an aperture only one in so many is on the slower beat.
      const { resolved, candidates } = resolvePeriod({
        periodS: several * 1.17,
        top: 0.3,
        meanExcess: (0.3 * 0.15) / 1.17,
        floor: 0.02,
        floorUncertainty: 1e-4,
        intervalS: 0.5,
        apertureS: 0.15,
        readingsPerBeat: (0.15 + 0.01) / 0.5,
        unvisited: 1e-3,
      });
      expect(resolved).toBe(false);
      expect(near(candidates, 1.17)).toBe(true);
    },
  );

  it('an aperture that an estimated interval exceeds by rounding alone leaves no dead time', () => {
    const dips = {
      periodS: 0.65,
      top: 2e-3,
      meanExcess: 5e-4,
      floor: 4e-3,
      floorUncertainty: 1e-4,
      intervalS: 0.05 * (1 + 1e-6),
      apertureS: 0.05,
      // Of dips that hardly stand out not every reading is seen.
      readingsPerBeat: 1.2,
    };
    expect(resolvePeriod(dips).resolved).toBe(true);
    expect(resolvePeriod({ ...dips, apertureS: 0.04 }).resolved).toBe(false);
  });

  it('what lasts longer than any polling pulse is the beat of a train that cannot be told', () => {
    const { resolved, candidates, floorIsBare } = resolvePeriod({
      periodS: 519.4,
      top: 2.2e-4,
      meanExcess: 2e-4,
      floor: 0.09,
      floorUncertainty: 1e-4,
      intervalS: 0.5,
      apertureS: 0.5,
    });
    expect({ resolved, floorIsBare }).toEqual({ resolved: false, floorIsBare: false });
    expect(near(candidates, 0.25012)).toBe(true);
  });
});
