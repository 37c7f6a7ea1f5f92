import { describe, expect, it } from 'vitest';
import { joinInterleaved } from '../../server/analysis/interleaved.ts';
import type { PulseTimes, Stretch } from '../../server/analysis/trains.ts';
import { findNight } from '../../server/battery/findings.ts';
import { hardNight } from '../helpers/hard-nights.ts';
import { makeNight } from '../helpers/nights.ts';
import { Random } from '../helpers/random.ts';

const TIMING = { toleranceS: 0.03, readingS: 0.05, leastPeriodS: 0.1, gaps: [] };

interface Part {
  readonly firstS: number;
  readonly periodS: number;
  readonly count: number;
  readonly charge: number;
}

/** Pulses of several trains in time order, and each train as it was followed; times are off by up to 20 ms. */
function trainsOf(parts: readonly Part[]): { pulses: PulseTimes; found: Stretch[] } {
  const r = new Random(3);
  const all = parts
    .flatMap(({ firstS, periodS, count, charge }, part) =>
      Array.from({ length: count }, (_, k) => ({
        part,
        at: firstS + k * periodS + 0.04 * (r.next() - 0.5),
        charge,
      })),
    )
    .sort((a, b) => a.at - b.at);
  const pulses = {
    count: all.length,
    at: Float64Array.from(all, (p) => p.at),
    charge: Float64Array.from(all, (p) => p.charge),
    blur: new Float64Array(all.length),
  };
  const found = parts.map(({ firstS, periodS, count }, part) => ({
    firstS,
    lastS: firstS + (count - 1) * periodS,
    periodS,
    periodU: 1e-5,
    pulses: count,
    members: Int32Array.from(all.flatMap((p, i) => (p.part === part ? [i] : []))),
    slots: Float64Array.from({ length: count }, (_, k) => k),
  }));
  return { pulses, found };
}

const joined = (...parts: readonly Part[]) => {
  const { pulses, found } = trainsOf(parts);
  return joinInterleaved(pulses, found, TIMING);
};

describe('two trains between each other’s beats', () => {
  const even = { firstS: 10, periodS: 2, count: 500, charge: 0.02 };

  it('are one of half the period, with the pulses of both in order', () => {
    const [one, ...none] = joined({ ...even, firstS: 13, count: 480 }, even);
    expect(none).toEqual([]);
    expect(one!.periodS).toBeCloseTo(1, 4);
    expect(one!.firstS).toBeCloseTo(10, 1);
    expect(one!.pulses).toBe(999);
    expect(one!.members).toEqual(Int32Array.from({ length: 980 }, (_, i) => i));
    expect([...one!.slots.slice(0, 5)]).toEqual([0, 2, 3, 4, 5]);
  });

  it('are one of a quarter where four are', () => {
    const all = [0, 0.5, 1, 1.5].map((late) => ({ ...even, firstS: 10 + late }));
    const [one, ...none] = joined(...all);
    expect(none).toEqual([]);
    expect(one!.periodS).toBeCloseTo(0.5, 4);
  });

  it('stay two where they are not half way, not alike, not of one pace, or not at one time', () => {
    for (const other of [
      { ...even, firstS: 10.8 },
      { ...even, firstS: 12 },
      { ...even, firstS: 11, charge: 0.05 },
      { ...even, firstS: 11, periodS: 2.02 },
      { ...even, firstS: 811 },
    ])
      expect(joined(even, other)).toHaveLength(2);
  });
});

describe('a night of dips of which half are too low to be seen', () => {
  it('has one train, at its own period', () => {
    const spec = hardNight('dips', 62);
    const { polling } = findNight(makeNight(spec).input);
    const [truth] = spec.trains![0]!.stretches;
    expect(polling.regimes.map((r) => r.periodS!.value / truth!.periodS)).toEqual([expect.closeTo(1, 4)]);
  });
});
