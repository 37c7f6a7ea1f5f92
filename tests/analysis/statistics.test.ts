import { describe, expect, it } from 'vitest';
import {
  fitLine,
  lag1Autocorrelation,
  mean,
  median,
  quantile,
  robustDeviation,
  selectInPlace,
  sortedQuantile,
  standardDeviation,
} from '../../server/analysis/statistics.ts';
import { seeded } from '../helpers/seeded.ts';

// NIST Statistical Reference Datasets, univariate: certified mean, standard deviation, lag-1 autocorrelation.
const alternating = (first: number, low: number, high: number): number[] => [
  first,
  ...Array.from({ length: 1000 }, (_, i) => (i % 2 === 0 ? low : high)),
];
const NUM_ACC: [string, number[], number, number, number][] = [
  ['NumAcc1', [10000001, 10000003, 10000002], 10000002, 1, -0.5],
  ['NumAcc2', alternating(1.2, 1.1, 1.3), 1.2, 0.1, -0.999],
  ['NumAcc3', alternating(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, -0.999],
  ['NumAcc4', alternating(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, -0.999],
];

describe('univariate statistics against NIST StRD', () => {
  it.each(NUM_ACC)('%s', (_name, x, m, sd, r1) => {
    expect(mean(x)).toBeCloseTo(m, 9);
    // The inputs themselves are rounded to double: near 10^7 that leaves about nine digits of the deviation.
    expect(Math.abs(standardDeviation(x) - sd)).toBeLessThan(1e-8);
    expect(Math.abs(lag1Autocorrelation(x) - r1)).toBeLessThan(1e-8);
  });

  it('does not lose the digits that the one-pass formula loses on NumAcc4 (0.1789)', () => {
    const x = NUM_ACC[3]![1];
    const sum = x.reduce((a, b) => a + b, 0);
    const squares = x.reduce((a, b) => a + b * b, 0);
    const onePass = Math.sqrt(Math.abs(squares - (sum * sum) / x.length) / (x.length - 1));
    expect(Math.abs(onePass - 0.1)).toBeGreaterThan(0.01);
    expect(standardDeviation(x)).toBeCloseTo(0.1, 8);
  });
});

// NIST StRD, linear regression, Norris (36 observations, lower difficulty).
const NORRIS_X = [
  0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
  447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3,
  229.2, 669.1, 448.9, 0.5,
];
const NORRIS_Y = [
  0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3,
  448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6,
  228.9, 668.4, 449.2, 0.2,
];

describe('straight line against NIST StRD Norris', () => {
  it('gives the certified coefficients and standard errors', () => {
    const fit = fitLine(NORRIS_X, NORRIS_Y)!;
    expect(fit.intercept).toBeCloseTo(-0.262323073774029, 11);
    expect(fit.interceptError).toBeCloseTo(0.232818234301152, 11);
    expect(fit.slope).toBeCloseTo(1.00211681802045, 12);
    expect(fit.slopeError).toBeCloseTo(4.29796848199937e-4, 14);
    expect(fit.residualDeviation).toBeCloseTo(0.884796396144373, 11);
    expect(fit.rSquared).toBeCloseTo(0.999993745883712, 13);
  });

  it('has nothing to say about two points or one abscissa', () => {
    expect(fitLine([1, 2], [1, 2])).toBeNull();
    expect(fitLine([1, 1, 1], [1, 2, 3])).toBeNull();
  });
});

describe('order statistics', () => {
  it('gives of a long array exactly what sorting it gives', () => {
    const random = seeded(5);
    for (const [n, values] of [
      [511, 7],
      [512, 7],
      [3000, 2],
      [3001, 1e9],
      [5000, 40],
    ] as const) {
      const x = Float64Array.from({ length: n }, () => Math.floor(random() * values) / 7);
      const sorted = x.slice().sort();
      for (const p of [0, 0.1, 0.25, 0.5, 0.9, 1]) expect(quantile(x, p)).toBe(sortedQuantile(sorted, p));
    }
  });

  it('interpolates quantiles', () => {
    expect(median([3, 1, 2])).toBe(2);
    expect(median([4, 1, 2, 3])).toBe(2.5);
    expect(quantile([10, 20, 30, 40, 50], 0.1)).toBeCloseTo(14, 12);
    expect(mean([])).toBeNaN();
  });

  it('selects what sorting would', () => {
    const values = Array.from({ length: 501 }, (_, i) => (i * 7919) % 263);
    const sorted = [...values].sort((a, b) => a - b);
    for (const k of [0, 1, 100, 250, 499, 500])
      expect(selectInPlace(Float64Array.from(values), 0, values.length, k)).toBe(sorted[k]);
  });

  it('estimates a deviation that outliers do not move', () => {
    const x = Array.from({ length: 1001 }, (_, i) => (i - 500) / 100);
    const spoiled = x.map((v, i) => (i % 10 === 0 ? 1000 : v));
    expect(robustDeviation(spoiled) / robustDeviation(x)).toBeLessThan(1.3);
  });
});
