import { describe, expect, it } from 'vitest';
import {
  hitsBeforeLasting,
  beatsUnseen,
  unseenShare,
  unvisitedPart,
} from '../../server/analysis/dead-time.ts';
import { gatheringPeriods } from '../../server/analysis/phase-peaks.ts';
import { findTrains, type Stretch, type Timing } from '../../server/analysis/trains.ts';
import { findNight } from '../../server/battery/findings.ts';
import { makeNight } from '../helpers/nights.ts';

/** Readings once a second that each measure the last `apertureS` of it: those that a pulse of 50 ms falls into. */
function seen(periodS: number, apertureS: number, beats: number, fromS = 60.13): number[] {
  const out: number[] = [];
  for (let k = 0; k < beats; k++) {
    const at = fromS + k * periodS;
    const end = Math.ceil(at + 1e-9);
    for (const t of [end, end + 1])
      if (at + 0.045 > t - apertureS && at + 0.005 < t && out.at(-1) !== t) out.push(t);
  }
  return out;
}

function trainsOf(at: readonly number[], openShare: number): Stretch[] {
  const n = at.length;
  const timing: Timing = { toleranceS: 0.552, readingS: 1, leastPeriodS: 1.9, gaps: [], openShare };
  const pulses = {
    at: Float64Array.from(at),
    charge: new Float64Array(n).fill(1),
    blur: new Float64Array(n),
  };
  return findTrains({ count: n, ...pulses }, timing);
}

describe('a train of which dead time swallows pulses', () => {
  it.each([
    // In step with the readings: 6, 5 and 3 of ten pulses are seen, always the same ones.
    [2.3, 0.57],
    [2.3, 0.42],
    [2.3, 0.3],
    [3.7, 0.3],
    // One of two, one of three in a row, not always the same one.
    [9.5971, 0.414],
    [8.6765, 0.2525],
    // Two in a row are never seen.
    [17.3529, 0.2525],
    // Seen thicker and thinner in turn.
    [35.4154, 0.414],
    [23.5389, 0.54],
    // Out of sight for a minute at a time.
    [8.9926, 0.51],
  ])('of %f readings, %f of them open, has its own period', (periodS, openShare) => {
    const found = trainsOf(seen(periodS, openShare, 2500), openShare);
    expect(found.map((s) => s.periodS)).toEqual([expect.closeTo(periodS, 3) as number]);
    expect(Math.abs(found[0]!.pulses - 2500)).toBeLessThan(20 + 2500 * 0.01);
  });

  it('ends where it slows down', () => {
    const slow = seen(7.7, 0.4, 800, 60.13 + 2.3 * 2000);
    const found = trainsOf([...seen(2.3, 0.4, 2000), ...slow], 0.4);
    expect(found.map((s) => s.periodS)).toEqual([
      expect.closeTo(2.3, 3) as number,
      expect.closeTo(7.7, 3) as number,
    ]);
    expect(Math.abs(found[1]!.firstS - slow[0]!)).toBeLessThan(5 * 7.7);
  });
});

describe('periods at which times gather', () => {
  it('come with the fundamental first', () => {
    const times = Float64Array.from(seen(2.3, 0.4, 110)).subarray(0, 48);
    expect(gatheringPeriods(times, 1.9, 8, 3)[0]).toBeCloseTo(2.3, 1);
  });
  it('are none without a span', () => expect(gatheringPeriods(Float64Array.of(5, 5), 1, 8, 3)).toEqual([]));
});

describe('hits before a lasting change', () => {
  const slotsOf = (steps: readonly number[]): Float64Array => {
    let slot = 0;
    return Float64Array.from([0, ...steps.map((s) => (slot += s))]);
  };
  const repeat = (steps: readonly number[], times: number): number[] =>
    Array.from({ length: times }, () => steps).flat();

  it('are all of a pattern that repeats', () =>
    expect(hitsBeforeLasting(slotsOf(repeat([1, 2, 2, 2, 2, 1, 2, 2, 3, 2], 60)))).toBe(601));
  it('end where the pattern gets slower for good', () => {
    const hits = hitsBeforeLasting(slotsOf([...repeat([1, 2, 1, 3], 100), ...repeat([3, 6, 3, 9], 60)]));
    expect(Math.abs(hits - 401)).toBeLessThan(4);
  });
  it('end at the first of two changes', () => {
    const steps = [...repeat([1, 2], 100), ...repeat([2, 4], 100), ...repeat([6, 12], 100)];
    expect(Math.abs(hitsBeforeLasting(slotsOf(steps)) - 201)).toBeLessThan(4);
  });
});

describe('what dead time leaves open', () => {
  const meter = { apertureS: 0.4, intervalS: 1 };
  it('is nothing without it', () => expect(unvisitedPart(2.3, 1000, { apertureS: 1, intervalS: 1 })).toBe(0));
  it('is one of ten places for a train in step', () => {
    const unvisited = unvisitedPart(2.3, 1000, meter);
    expect(unvisited).toBeCloseTo(0.1 / 2.3, 9);
    expect(unseenShare(unvisited, 2.3, 0.4)).toBeCloseTo(0.25 / Math.sqrt(6), 9);
  });
  it('is little for one that slides through all places', () =>
    expect(unvisitedPart(Math.sqrt(5), 1000, meter)).toBeLessThan(2e-3));
  it('is the part of a turn that a slow slide did not complete', () =>
    // 600 beats slide by 1.5 turns: half of the places are seen twice, a third more than their share.
    expect(unvisitedPart(4.0025, 600, meter)).toBeCloseTo((2 / 3 - 1 / 2) / 4.0025, 2));
  it('lasts as many beats as the slide through the dead time takes', () => {
    const meter = { openShare: 0.4, readingS: 1 };
    // A hundred places fill the interval, one after the other: the dead time holds sixty, and two at its ends.
    expect(beatsUnseen({ periodS: 8.99, pulses: 500 }, meter)).toBeCloseTo(1.5 * 62, 6);
    expect(beatsUnseen({ periodS: 9, pulses: 50 }, meter)).toBeCloseTo(1.5 * 75, 6);
    expect(beatsUnseen({ periodS: 9, pulses: 50 }, { openShare: 1, readingS: 1 })).toBe(0);
  });
});

describe('a night under a meter with dead time', () => {
  it.each([
    [1, 0.57, 2.3],
    [0.5, 0.15, 1.15],
    [0.25, 0.13, 0.575],
    [0.4, 0.1, 3.4706],
  ])(
    'every %f s, %f s open, period %f s: never a wrong period, and the average within its uncertainty',
    (intervalS, apertureS, periodS) => {
      const { input, truth } = makeNight({
        seed: 3,
        durationS: 4 * 3600,
        baselineA: 0.02,
        trains: [{ widthS: 0.03, amplitudeA: 1.3, stretches: [{ startS: 10.3, endS: 4 * 3600, periodS }] }],
        current: { intervalS, apertureS, resolution: 1e-4, noise: 3e-4 },
      });
      const { polling, draw } = findNight(input);
      const found = polling.regimes[0]!.periodS?.value;
      if (found === undefined)
        expect(polling.candidatePeriodsS.some((p) => Math.abs(p / periodS - 1) < 1e-3)).toBe(true);
      else expect(Math.abs(found / periodS - 1)).toBeLessThan(1e-4);
      expect(polling.regimes).toHaveLength(1);
      const average = draw.averageAfterSleepA!;
      expect(Math.abs(average.value - truth.averageAfterSleepA)).toBeLessThan(average.expandedUncertainty);
    },
  );
});
