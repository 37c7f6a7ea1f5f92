import { describe, expect, it } from 'vitest';
import type { MeasuredRegime } from '../../server/analysis/regimes.ts';
import { withFolded } from '../../server/analysis/with-folded.ts';
import { findNight } from '../../server/battery/findings.ts';
import { hardNight } from '../helpers/hard-nights.ts';
import { makeNight } from '../helpers/nights.ts';

const TIMING = { toleranceS: 0.06, readingS: 0.1, leastPeriodS: 0.2, gaps: [] };

/** A train with as many beats as fit, drawing `averageA`; with members where single pulses showed it. */
function train(
  firstS: number,
  endS: number,
  periodS: number,
  averageA: number,
  singly: boolean,
): MeasuredRegime {
  const pulses = Math.floor((endS - firstS) / periodS) + 1;
  const lastS = firstS + (pulses - 1) * periodS;
  const estimate = (value: number) => ({ value, expandedUncertainty: 1e-3 * value });
  return {
    resolved: true,
    candidates: [],
    floorIsBare: true,
    stretch: { firstS, lastS, periodS, periodU: 1e-7, pulses },
    members: singly ? Int32Array.from({ length: pulses }, (_, i) => i) : new Int32Array(0),
    hitRate: 1,
    duty: 0.2,
    averageA,
    averageU: 5e-4 * averageA,
    unseenU: 0,
    restA: 0,
    topA: 0.1,
    regime: {
      startS: firstS,
      endS: lastS,
      periodS: estimate(periodS),
      widthS: null,
      amplitudeA: null,
      chargePerPulseC: estimate(averageA * periodS),
      pulses,
      averageA: estimate(averageA),
    },
  };
}

const sure = (): boolean => true;
const spans = (found: readonly MeasuredRegime[]) =>
  found.map(({ regime: r }) => [
    r.startS,
    Math.round(r.endS),
    Number(r.periodS!.value.toFixed(6)),
    r.averageA!.value,
  ]);

describe('trains that single pulses and folding showed', () => {
  it('are one where they keep one beat: its ends by both, its draw by the pulses', () => {
    const parts = [train(1000, 2000, 0.5, 0.02, true), train(2400, 3600, 0.5, 0.02, true)];
    const [one, ...none] = withFolded(parts, sure, [train(60, 3000, 0.5, 0.017, false)], TIMING);
    expect(none).toEqual([]);
    expect(spans([one!])).toEqual([[60, 3600, 0.5, 0.02]]);
    expect(one!.regime.pulses).toBe(7081);
    expect(one!.members).toHaveLength(0);
  });

  it('leave one that single pulses show nearly whole as it is', () => {
    const seen = train(100, 3000, 0.5, 0.02, true);
    expect(withFolded([seen], sure, [train(60, 3000, 0.5, 0.017, false)], TIMING)).toEqual([seen]);
  });

  it('take every second pulse of a folded train for no train of its own, but another train for one', () => {
    const whole = train(60, 3000, 0.5, 0.017, false);
    const half = train(400.5, 2000, 1, 0.01, true);
    const other = train(400, 2000, 0.73, 0.01, true);
    const between = train(400.25, 2000, 1, 0.01, true);
    expect(withFolded([half, other], sure, [whole], TIMING)).toEqual([whole, other]);
    expect(withFolded([between], sure, [whole], TIMING)).toEqual([whole, between]);
  });

  it('are the folded one where single pulses show only parts of its pulses', () => {
    const parts = [train(100, 3000, 0.5, 0.003, true), train(700, 2900, 0.5, 0.002, true)];
    const whole = train(60, 3000, 0.5, 0.02, false);
    expect(withFolded(parts, sure, [whole], TIMING)).toEqual([whole]);
  });

  it('stay apart where single pulses hold far more than folding finds', () => {
    const rich = train(1500, 3000, 0.5, 0.06, true);
    const poor = train(60, 3000, 0.5, 0.03, false);
    expect(withFolded([rich], sure, [poor], TIMING)).toEqual([poor, rich]);
  });

  it('take the fuller of two that show one train at one time', () => {
    const [full, part] = [train(100, 2000, 0.5, 0.02, true), train(900, 2000, 0.5, 0.0145, true)];
    const [one, ...none] = withFolded([part, full], sure, [train(60, 3000, 0.5, 0.02, false)], TIMING);
    expect(none).toEqual([]);
    expect(one!.averageA).toBe(0.02);
  });

  it('are one where folding found it in pieces that keep one beat', () => {
    const pieces = [train(60, 1000, 0.5, 0.02, false), train(1003, 3000, 0.5, 0.02, false)];
    expect(spans(withFolded([], sure, pieces, TIMING))).toEqual([[60, 3000, 0.5, 0.02]]);
    const offBeat = train(1003.25, 3000, 0.5, 0.02, false);
    expect(withFolded([], sure, [pieces[0]!, offBeat], TIMING)).toHaveLength(2);
  });

  it('give way to the folded one where they are not sure, or scraps', () => {
    const whole = train(60, 3000, 0.5, 0.017, false);
    expect(withFolded([train(400, 2000, 0.73, 0.01, true)], () => false, [whole], TIMING)).toEqual([whole]);
    expect(withFolded([train(400, 500, 0.73, 0.01, true)], sure, [whole], TIMING)).toEqual([whole]);
  });
});

/** Radios that deliver up to 0.7 of an interval late, in bunches: single pulses show only parts of each train. */
describe('nights of which folding and single pulses show parts', () => {
  it.each([29, 30, 69, 77])('each train stands once, and floor and average are right (radio %i)', (seed) => {
    const spec = hardNight('radio', seed);
    const night = makeNight(spec);
    const { polling, sleep } = findNight(night.input);
    const truth = night.truth.trains.flat();
    expect(polling.regimes.map((r) => r.periodS!.value)).toHaveLength(truth.length);
    for (const [k, x] of truth.entries()) {
      const { periodS, averageA } = polling.regimes[k]!;
      expect(Math.abs(periodS!.value / x.periodS - 1)).toBeLessThan(1e-4);
      expect(Math.abs(averageA!.value - x.chargePerPulseC / x.periodS)).toBeLessThan(
        1.5 * averageA!.expandedUncertainty,
      );
    }
    const floor = sleep.settledBaselineA!;
    expect(Math.abs(floor.value / spec.baselineA - 1)).toBeLessThan(1e-3);
  });
});
