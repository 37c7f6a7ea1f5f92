import { describe, expect, it } from 'vitest';
import { coverage } from '../bench/coverage.ts';

/**
 * A seeded share of what `npm run bench -- --only coverage` runs in full. A perfect Gaussian statement covers 95 %
 * of truths with a median expanded uncertainty of 3 median errors; few nights scatter about that.
 */
describe('figures of seeded nights', () => {
  const { figures, nights } = coverage(1, [
    'clear',
    'noisy',
    'oneMilliamp',
    'tenMilliamps',
    'radio',
    'drifting',
    'autoRange',
    'clockForward',
    'stated',
    'oscillator',
    'stretchedTwice',
    'twoTrains',
    'weak',
    'hiddenDips',
    'neverSleeps',
    'charger',
    'short',
  ]);

  it.each(figures.map((f) => [f.figure, f] as const))('%s', (_figure, f) => {
    expect(f.withinTolerance).toBeGreaterThanOrEqual(f.figure === 'source resistance' ? 0.7 : 0.9);
    if (f.covered !== null) expect(f.covered).toBeGreaterThanOrEqual(0.7);
  });

  it('are right in state, and nothing is invented, on nearly every night', () => {
    const right = nights.reduce((sum, n) => sum + n.right, 0);
    expect(right / nights.length).toBeGreaterThanOrEqual(0.85);
  });
});
