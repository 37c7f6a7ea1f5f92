import { describe, expect, test } from 'vitest';
import { chanceOfOrder, highestRate, lowestRate } from '../../server/battery/exact.ts';
import { flatLogLikelihood, logLikelihood, profileLogLikelihood } from '../../server/battery/logistic.ts';
import { estimateThreshold, type Try } from '../../server/battery/threshold.ts';
import { thresholdSchema } from '../../server/messages/attempts.ts';
import { seeded } from '../helpers/seeded.ts';

const tries = (rows: readonly (readonly [number, 0 | 1])[]): Try[] =>
  rows.map(([voltageV, worked]) => ({ voltageV, worked: worked === 1 }));

/** Joint temperature in degrees Fahrenheit and distress of the 23 launches before January 1986 (from memory). */
const LAUNCHES = tries([
  [66, 0], [70, 1], [69, 0], [68, 0], [67, 0], [72, 0], [73, 0], [70, 0], [57, 1], [63, 1], [70, 1], [78, 0],
  [67, 0], [53, 1], [67, 0], [75, 0], [70, 0], [81, 0], [76, 0], [79, 0], [75, 1], [76, 0], [58, 1],
]); // prettier-ignore

/** The same answer by a plain search over a grid of thresholds and slopes. */
function searched(data: readonly Try[], from: number, to: number): [number, number] {
  const best = (v: number): number => {
    let top = -Infinity;
    for (let e = -9; e <= 9; e += 0.01)
      for (const sign of [-1, 1]) {
        const b = sign * Math.exp(e);
        top = Math.max(top, logLikelihood(data, -b * v, b));
      }
    return top;
  };
  const grid = Array.from({ length: 241 }, (_, i) => from + ((to - from) * i) / 240);
  const heights = grid.map(best);
  const top = Math.max(...heights);
  const inside = grid.filter((_, i) => 2 * (top - heights[i]!) <= 6);
  return [inside[0]!, inside[inside.length - 1]!];
}

describe('against published figures', () => {
  test('the 23 launches: intercept 15.0429, slope -0.2322 (from memory)', () => {
    const t = estimateThreshold(LAUNCHES);
    expect(t.method).toBe('logistic');
    expect(t.intercept).toBeCloseTo(15.0429, 4);
    expect(t.slope).toBeCloseTo(-0.2322, 4);
    expect(t.thresholdV!.value).toBeCloseTo(15.0429 / 0.2322, 1);
    // Profile limits by scipy.optimize over the same likelihood.
    expect(t.intervalV![0]).toBeCloseTo(33.2086, 3);
    expect(t.intervalV![1]).toBeCloseTo(70.4887, 3);
    // What fails more often when there is more of it is no threshold of a supply.
    expect(t.says[0]).toMatch(/worked more at the lower ones/);
  });

  test("Fisher's lady tasting tea: 4 of 4 right is 1 in 70, 3 of 4 right is 17 in 70", () => {
    const cups = (right: number): Try[] => [
      ...Array.from({ length: 4 }, (_, i) => ({ voltageV: 12, worked: i < right })),
      ...Array.from({ length: 4 }, (_, i) => ({ voltageV: 11, worked: i >= right })),
    ];
    expect(chanceOfOrder(cups(4))).toBeCloseTo(1 / 70, 12);
    expect(chanceOfOrder(cups(3))).toBeCloseTo(17 / 70, 12);
    expect(chanceOfOrder(cups(2))).toBeCloseTo(53 / 70, 12);
  });

  test("Clopper and Pearson's limits: none of 10 two-sided 30.85 %, one-sided 25.89 %; 4 of 10 from 12.16 to 73.76 %", () => {
    // The upper limit for none of n is 1 - alpha^(1/n) in closed form; 4 of 10 as tables print it, from memory.
    expect(highestRate(0, 10, 0.025)).toBeCloseTo(1 - 0.025 ** 0.1, 10);
    expect(highestRate(0, 10)).toBeCloseTo(0.2589, 4);
    expect(lowestRate(10, 10)).toBeCloseTo(0.7411, 4);
    expect(lowestRate(4, 10, 0.025)).toBeCloseTo(0.1216, 4);
    expect(highestRate(4, 10, 0.025)).toBeCloseTo(0.7376, 4);
    expect([lowestRate(0, 3), highestRate(3, 3)]).toEqual([expect.closeTo(0, 10), 1]);
  });
});

describe('tries that a voltage separates', () => {
  const even = (n: number): Try[] =>
    tries([
      ...Array.from({ length: n }, (_, i) => [11.5 - 0.1 * i, 0] as const),
      ...Array.from({ length: n }, (_, i) => [11.9 + 0.1 * i, 1] as const),
    ]);

  test('give the bracket, and a figure only once chance is out of the way', () => {
    const few = estimateThreshold(even(2));
    expect(few).toMatchObject({ method: 'bracket', thresholdV: null, bracketV: [11.5, 11.9], slope: null });
    expect(few.chance).toBeCloseTo(1 / 6, 12);
    expect(few.says.join(' ')).toMatch(/too little.*once in 6\./);
    const enough = estimateThreshold(even(4));
    expect(enough.chance).toBeCloseTo(1 / 70, 12);
    expect(enough.thresholdV!.value).toBeCloseTo(11.7, 9);
    expect(enough.bracketV).toEqual([11.5, 11.9]);
    // The interval reaches beyond the bracket: a curve need not be a step.
    expect(enough.intervalV![0]).toBeLessThan(11.5);
    expect(enough.intervalV![1]).toBeGreaterThan(11.9);
    const [low, high] = searched(even(4), 11.0, 12.4);
    expect(enough.intervalV![0]).toBeCloseTo(low, 1);
    expect(enough.intervalV![1]).toBeCloseTo(high, 1);
  });

  test('more tries of the same kind narrow it', () => {
    const width = (n: number): number => estimateThreshold(even(n)).thresholdV!.expandedUncertainty;
    expect(width(6)).toBeLessThan(width(4));
    expect(width(8)).toBeLessThan(width(6));
    expect(width(8)).toBeGreaterThan(0.2);
  });

  test('meet at one voltage where both happened', () => {
    const t = estimateThreshold(
      tries([[11.2, 0], [11.3, 0], [11.4, 0], [11.6, 0], [11.6, 1], [11.8, 1], [11.9, 1], [12.1, 1]]), // prettier-ignore
    );
    expect(t.method).toBe('bracket');
    expect(t.bracketV).toEqual([11.4, 11.8]);
    expect(t.thresholdV!.value).toBeCloseTo(11.6, 9);
    expect(t.says[0]).toContain('At 11.60 V both happened.');
  });

  test('the wrong way round are no threshold', () => {
    const t = estimateThreshold(tries([[11.5, 1], [11.6, 1], [12.4, 0], [12.5, 0]])); // prettier-ignore
    expect(t).toMatchObject({ method: 'none', thresholdV: null, bracketV: [null, null] });
    expect(t.says[0]).toMatch(/do not show that a low battery/);
  });
});

describe('tries that overlap', () => {
  const mixed = tries([
    [11.2, 0], [11.3, 0], [11.4, 0], [11.5, 0], [11.6, 1], [11.7, 0], [11.8, 1], [11.9, 1], [12.0, 1], [12.1, 1],
  ]); // prettier-ignore

  test('give a figure whose interval a plain search confirms', () => {
    const t = estimateThreshold(mixed);
    expect(t.method).toBe('logistic');
    expect(t.bracketV).toEqual([11.5, 11.8]);
    expect(t.thresholdV!.value).toBeCloseTo(11.65, 6);
    const [low, high] = searched(mixed, 11.0, 12.3);
    expect(t.intervalV![0]).toBeCloseTo(low, 1);
    expect(t.intervalV![1]).toBeCloseTo(high, 1);
    expect(t.thresholdV!.expandedUncertainty).toBeCloseTo(
      Math.max(11.65 - t.intervalV![0], t.intervalV![1] - 11.65),
      6,
    );
  });

  test('without a trend give none, and say so', () => {
    const t = estimateThreshold(tries([[11, 1], [11.2, 0], [11.4, 1], [11.6, 0], [11.8, 1], [12, 0], [12.2, 1]])); // prettier-ignore
    expect(t).toMatchObject({ method: 'logistic', thresholdV: null, intervalV: null });
    expect(t.says.join(' ')).toMatch(/too little for a figure/);
  });

  test('the stated interval holds the truth in nearly all of 300 invented cars', () => {
    const random = seeded(7);
    let held = 0;
    let given = 0;
    for (let car = 0; car < 300; car++) {
      const truth = 11.3 + random();
      const slope = [3, 8, 20][car % 3]!;
      const data = Array.from({ length: 16 }, () => {
        const voltageV = Math.round((10.8 + 2 * random()) * 100) / 100;
        return { voltageV, worked: random() < 1 / (1 + Math.exp(-slope * (voltageV - truth))) };
      });
      const { thresholdV } = estimateThreshold(data);
      if (thresholdV === null) continue;
      given++;
      if (Math.abs(thresholdV.value - truth) <= thresholdV.expandedUncertainty) held++;
    }
    expect(given).toBeGreaterThan(200);
    expect(held / given).toBeGreaterThan(0.96);
  });
});

describe('tries that carry no figure', () => {
  test.each([
    ['none', [], [null, null], /No try is marked/],
    ['one that worked', [[12.4, 1]], [null, 12.4], /One try proves nothing/],
    ['one that failed', [[11.4, 0]], [11.4, null], /One try proves nothing/],
    [
      'all worked',
      [
        [12.4, 1],
        [12.1, 1],
        [11.9, 1],
      ],
      [null, 11.9],
      /at least 36 % of the time/,
    ],
    [
      'none worked',
      [
        [11.4, 0],
        [11.1, 0],
        [11.2, 0],
      ],
      [11.4, null],
      /at most 64 % of the time/,
    ],
    [
      'one voltage',
      [
        [11.8, 0],
        [11.8, 1],
        [11.8, 1],
      ],
      [null, null],
      /cannot show what voltage does/,
    ],
  ] as const)('%s', (_name, rows, bracketV, sentence) => {
    const t = thresholdSchema.parse(estimateThreshold(tries(rows)));
    expect(t).toMatchObject({ method: 'none', thresholdV: null, bracketV, intercept: null, slope: null });
    expect(t.says.join(' ')).toMatch(sentence);
  });

  test('any handful of tries gives a document that fits its schema', () => {
    const random = seeded(11);
    for (let round = 0; round < 400; round++) {
      const data = Array.from({ length: Math.floor(random() * 12) }, () => ({
        voltageV: Math.round((11 + random()) * 10) / 10,
        worked: random() < 0.5,
      }));
      const t = thresholdSchema.parse(estimateThreshold(data));
      if (t.thresholdV !== null) expect(t.thresholdV.expandedUncertainty).toBeGreaterThan(0);
      expect(t.says.length).toBeGreaterThan(0);
    }
  });

  test('the profile never lies above the best fit, nor below a flat line far away', () => {
    const flat = flatLogLikelihood(LAUNCHES);
    expect(profileLogLikelihood(LAUNCHES, 1e7)).toBeCloseTo(flat, 3);
    expect(profileLogLikelihood(LAUNCHES, 64.7946)).toBeCloseTo(-10.1576, 4);
  });
});
