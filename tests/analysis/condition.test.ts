import { describe, expect, it } from 'vitest';
import {
  condition,
  conditionAll,
  lowerBound,
  mergeSpans,
  overlapOf,
} from '../../server/analysis/condition.ts';
import type { ChannelInput } from '../../server/analysis/input.ts';
import { estimateInterval, estimateResolution } from '../../server/analysis/sampling.ts';
import { Random } from '../helpers/random.ts';

const channel = (t: number[], y: number[]): ChannelInput => ({
  quantity: 'current',
  unit: 'A',
  t: Float64Array.from(t),
  y: Float64Array.from(y),
  resolution: null,
  apertureS: null,
  accuracy: null,
  gaps: [],
});
const ticks = (n: number, step: number): number[] => Array.from({ length: n }, (_, i) => i * step);

describe('conditioning', () => {
  it('leaves tidy readings alone and says how they were taken', () => {
    const input = channel(
      ticks(1000, 0.4),
      ticks(1000, 0.4).map((_, i) => (i % 7) / 1000),
    );
    const c = condition(input);
    expect(c.t).toBe(input.t);
    expect(c.intervalS).toBeCloseTo(0.4, 12);
    expect(c.resolution).toBe(1e-3);
    expect(c.gaps).toEqual([]);
    expect(c.apertureS).toBeCloseTo(0.4, 12);
    expect(c.apertureStated).toBe(false);
  });

  it('puts swapped readings in order, drops what is not a number and what is double', () => {
    const c = condition(channel([0, 1, 3, 2, 4, 5, 5, 6], [0, 1, 3, 2, NaN, 5, 5, 6]));
    expect([...c.t]).toEqual([0, 1, 2, 3, 5, 6]);
    expect([...c.y]).toEqual([0, 1, 2, 3, 5, 6]);
    expect(c.clockSteps).toEqual([]);
  });

  it('takes a backward step of the clock out of the times and reports it', () => {
    const t = ticks(200, 0.5).map((x) => (x >= 50 ? x - 2 : x));
    const c = condition(channel(t, t));
    expect(c.clockSteps).toHaveLength(1);
    expect(c.clockSteps[0]!.stepS).toBeCloseTo(-2, 5);
    expect(c.clockSteps[0]!.atS).toBeCloseTo(49.5, 9);
    expect(c.t[199]).toBeCloseTo(99.5, 5);
  });

  it('finds gaps, joins them to those that were known', () => {
    const t = ticks(100, 1).map((x) => (x >= 40 ? x + 1200 : x));
    const c = condition({ ...channel(t, t), gaps: [{ startS: 30, endS: 45 }] });
    expect(c.gaps).toEqual([{ startS: 30, endS: 1240 }]);
    expect(overlapOf(c.gaps, 0, 100)).toBe(70);
  });

  it('gives channels that came together one clock, and others each their own', () => {
    const r = new Random(5);
    const t = ticks(3000, 0.2).map((x) => x + 0.15 * r.next());
    const [a, b, c] = [channel(t, t), channel(t, ticks(3000, 1)), channel([...t.slice(1), 700], t)];
    const all = conditionAll([a, b, c]);
    expect(all).toEqual([condition(a), condition(b), condition(c)]);
    expect(all[1]!.t).toBe(all[0]!.t);
    expect(all[2]!.t).not.toBe(all[0]!.t);
  });

  it('has nothing to say about an empty channel', () => {
    const c = condition(channel([], []));
    expect(c).toMatchObject({ intervalS: null, resolution: null, gaps: [] });
  });
});

describe('sampling', () => {
  it('finds the interval through jitter, loss and bunching', () => {
    const random = new Random(5);
    const jittered = Float64Array.from(ticks(4000, 0.1), (t) => t + 0.02 * random.next());
    expect(Math.abs(estimateInterval(jittered)! / 0.1 - 1)).toBeLessThan(0.02);
    const lossy = Float64Array.from(ticks(4000, 0.1).filter(() => random.next() > 0.03));
    expect(Math.abs(estimateInterval(lossy)! / 0.1 - 1)).toBeLessThan(1e-6);
    const bunched = Float64Array.from(ticks(4000, 0.1), (t, i) => Math.ceil(t / 0.4) * 0.4 + (i % 4) * 1e-4);
    expect(Math.abs(estimateInterval(bunched)! / 0.1 - 1)).toBeLessThan(0.03);
    expect(estimateInterval(Float64Array.of(1))).toBeNull();
  });

  it.each([
    [1e-4, 1e-4],
    [1e-3, 1e-3],
    [0.01, 0.01],
    [1 / 64, 1 / 64],
  ])('finds the last digit %f', (digit, expected) => {
    const random = new Random(1);
    const y = Float64Array.from({ length: 500 }, () =>
      Number((Math.round(random.between(-1, 13) / digit) * digit).toPrecision(12)),
    );
    expect(estimateResolution(y)).toBeCloseTo(expected, 12);
  });

  it('knows readings that are on no grid', () => {
    const random = new Random(1);
    expect(estimateResolution(Float64Array.from({ length: 100 }, () => random.next()))).toBeNull();
  });
});

describe('spans', () => {
  it('merges and searches', () => {
    expect(
      mergeSpans([
        { startS: 5, endS: 7 },
        { startS: 0, endS: 2 },
        { startS: 1, endS: 3 },
        { startS: 9, endS: 9 },
      ]),
    ).toEqual([
      { startS: 0, endS: 3 },
      { startS: 5, endS: 7 },
    ]);
    expect(lowerBound([1, 2, 2, 3], 2)).toBe(1);
    expect(lowerBound([1, 2], 9)).toBe(2);
  });
});
