import { describe, expect, it } from 'vitest';
import { coverage } from '../bench/coverage.ts';
import { HARD_NIGHT_KINDS } from '../helpers/hard-nights.ts';

/**
 * A seeded share of what `npm run bench -- --only coverage` runs in full: truth inside value +- expanded uncertainty in
 * at least 90 % of cases, and a median expanded uncertainty of at most 5 median errors (a perfect Gaussian statement
 * gives 95 % and 3). Few cases scatter about that, so each limit stands two standard deviations beyond.
 */
const COVERED = 0.9;
const RATIO = 5;

/** Of the share of n cases of which each is covered with probability `COVERED` (binomial). */
const shareDeviation = (n: number): number => Math.sqrt((COVERED * (1 - COVERED)) / n);

/** Relative, of the median of n absolute values of a normal distribution: 1 / (2 m f(m) sqrt n), m = 0.6745, f(m) = 0.6356. */
const medianDeviation = (n: number): number => 1.166 / Math.sqrt(n);

describe('figures of seeded nights', () => {
  // All kinds but the one that takes a month.
  const kinds = HARD_NIGHT_KINDS.filter((kind) => kind !== 'month');
  const { figures, nights } = coverage(2, kinds);

  it.each(figures.map((f) => [f.figure, f] as const))('%s', (_figure, f) => {
    expect(f.withinTolerance).toBeGreaterThanOrEqual(0.95);
    if (f.covered === null || f.ratio === null) return;
    expect(f.covered).toBeGreaterThanOrEqual(COVERED - 2 * shareDeviation(f.cases));
    expect(f.ratio).toBeLessThanOrEqual(RATIO * (1 + 2 * medianDeviation(f.cases)));
  });

  it('are right in state, and nothing is invented, on nearly every night', () => {
    const right = nights.reduce((sum, n) => sum + n.right, 0);
    const all = nights.reduce((sum, n) => sum + n.count, 0);
    expect(right / all).toBeGreaterThanOrEqual(0.9);
  });
});
