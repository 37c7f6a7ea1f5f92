import { describe, expect, it } from 'vitest';
import { sumOfProducts } from '../../server/analysis/statistics.ts';
import { Trend } from '../../server/analysis/trend.ts';
import { Random } from '../helpers/random.ts';

const r = new Random(3);
const times = Array.from({ length: 400 }, (_, k) => 1e5 + k + 0.5 * r.next());
const at = (t: number): number => (t - 1e5 - 200) / 200;

describe('a polynomial trend', () => {
  it.each([1, 3, 12])(
    'of degree %i takes off every polynomial of that degree, and none of the next',
    (degree) => {
      const trend = new Trend(times, degree);
      expect(trend.terms).toBe(degree + 1);
      const left = (d: number): number =>
        Math.max(...trend.takeFrom(times.map((t) => 12 + at(t) ** d)).map(Math.abs));
      for (let d = 0; d <= degree; d++) expect(left(d)).toBeLessThan(1e-11);
      expect(left(degree + 1)).toBeGreaterThan(1e-5);
    },
  );

  it('leaves what is at right angles to it as it is, also when it is taken off again', () => {
    const trend = new Trend(times, 3);
    const once = trend.takeFrom(times.map(() => r.normal()));
    const twice = trend.takeFrom([...once]);
    once.forEach((x, k) => expect(twice[k]!).toBeCloseTo(x, 12));
    const line = Float64Array.from(times, at);
    expect(Math.abs(sumOfProducts(once, line))).toBeLessThan(1e-9);
  });

  it('has no more terms than the times carry', () => {
    expect(new Trend([], 3).terms).toBe(0);
    expect(new Trend([5], 3).terms).toBe(1);
    expect(new Trend([1, 2, 3], 7).terms).toBe(3);
    expect(new Trend([4, 4, 4, 4], 3).terms).toBe(1);
  });
});
