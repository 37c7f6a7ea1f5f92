import { describe, expect, it } from 'vitest';
import { median } from '../../server/analysis/statistics.ts';
import { findTrains, type Stretch, type Timing } from '../../server/analysis/trains.ts';
import { Random } from '../helpers/random.ts';

const timing = (toleranceS: number, leastPeriodS: number): Timing => ({
  toleranceS,
  readingS: 0,
  leastPeriodS,
  gaps: [],
});

const train = (at: readonly number[], t: Timing): Stretch[] => {
  const sorted = Float64Array.from(at).sort();
  const n = sorted.length;
  return findTrains(
    { count: n, at: sorted, charge: new Float64Array(n).fill(1), blur: new Float64Array(n) },
    t,
  );
};

const clock = (from: number, n: number, period: number): number[] =>
  Array.from({ length: n }, (_, k) => from + k * period);

describe('pulse trains', () => {
  it('times a train exactly, with pulses missing at random', () => {
    const random = new Random(1);
    const at = clock(10.3, 2000, 0.75).filter(() => random.next() > 0.4);
    const found = train(at, timing(0.05, 0.2));
    expect(found).toHaveLength(1);
    expect(found[0]!.periodS).toBeCloseTo(0.75, 9);
    expect(Math.abs(found[0]!.pulses - 2000)).toBeLessThanOrEqual(8);
  });

  it.each([
    [0.25, 0.75],
    [0.3, 0.6],
    [0.5, 0.8],
    [0.75, 0.5],
  ])('cuts where the period changes from %f to %f', (before, after) => {
    const change = 100 + 1000 * before;
    const found = train([...clock(100, 1000, before), ...clock(change, 800, after)], timing(0.03, 0.1));
    expect(found.map((s) => s.periodS)).toEqual([
      expect.closeTo(before, 6) as number,
      expect.closeTo(after, 6) as number,
    ]);
    expect(Math.abs(found[1]!.firstS - change)).toBeLessThan(3 * after);
    expect(Math.abs(found[0]!.pulses - 1000)).toBeLessThanOrEqual(2);
  });

  it('separates two trains that overlap', () => {
    const found = train([...clock(5, 3000, 1.13), ...clock(7.7, 330, 10.01)], timing(0.05, 0.2));
    expect(found.map((s) => s.periodS).sort((a, b) => a - b)).toEqual([
      expect.closeTo(1.13, 6) as number,
      expect.closeTo(10.01, 4) as number,
    ]);
    expect(found.find((s) => s.periodS < 2)!.pulses).toBe(3000);
  });

  it('joins a train across a gap', () => {
    const at = clock(0, 4000, 0.8).filter((t) => t < 1000 || t > 2200);
    const found = train(at, { ...timing(0.05, 0.2), gaps: [{ startS: 1000, endS: 2200 }] });
    expect(found).toHaveLength(1);
    expect(found[0]!.pulses).toBe(4000);
  });

  it('invents nothing from random pulses', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const random = new Random(seed);
      const at = Array.from({ length: 200 }, () => random.between(0, 20_000));
      expect(train(at, timing(0.05, 0.2))).toEqual([]);
    }
  });

  /**
   * White timing errors s on a fixed clock: var P >= 12 s^2 / (N (N^2 - 1)) (Cramer-Rao), reached by least
   * squares; published table for P = 0.25 s: N = 100, s = 0.05 gives 1.7321e-4, N = 1000, s = 0.10 gives 1.09545e-5.
   */
  it.each([
    [100, 0.02, 6.9283e-5],
    [1000, 0.02, 2.1909e-6],
  ])('reaches the Cramer-Rao bound: N %i, s %f', (n, s, bound) => {
    expect(Math.sqrt((12 * s * s) / (n * (n * n - 1)))).toBeCloseTo(bound, 8);
    const errors: number[] = [];
    let covered = 0;
    for (let seed = 1; seed <= 100; seed++) {
      const random = new Random(seed);
      const at = clock(3, n, 0.25).map((t) => t + s * random.normal());
      const found = train(at, timing(0.09, 0.05));
      const longest = found.reduce((a, b) => (b.pulses > a.pulses ? b : a));
      errors.push(longest.periodS - 0.25);
      if (Math.abs(longest.periodS - 0.25) <= 2 * longest.periodU) covered++;
    }
    const rms = Math.sqrt(errors.reduce((a, e) => a + e * e, 0) / errors.length);
    expect(rms).toBeLessThan(1.3 * bound);
    expect(covered).toBeGreaterThanOrEqual(88);
  });

  it('gives the mean period of a clock that walks, and says honestly how well it knows it', () => {
    const errors: number[] = [];
    const stated: number[] = [];
    for (let seed = 1; seed <= 100; seed++) {
      const random = new Random(seed);
      const beats = [5];
      for (let k = 1; k < 1500; k++) beats.push(beats[k - 1]! + 0.75 * (1 + 1e-3 * random.normal()));
      const found = train(
        beats.map((t) => t + 0.005 * random.normal()),
        timing(0.05, 0.2),
      );
      expect(found).toHaveLength(1);
      errors.push(Math.abs(found[0]!.periodS - (beats[1499]! - beats[0]!) / 1499));
      stated.push(2 * found[0]!.periodU);
    }
    expect(errors.filter((e, i) => e <= stated[i]!).length).toBeGreaterThanOrEqual(90);
    expect(median(stated) / median(errors)).toBeLessThan(5);
    // A straight line through all beats would be off by a fifth of the walk's own variance: 8.7 us.
    expect(median(errors)).toBeLessThan(6e-6);
  });
});
