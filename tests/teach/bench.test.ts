import { describe, expect, it } from 'vitest';
import { benchOne, summarise } from '../helpers/teachingBench.ts';

/** A share of the bench of invented meters; `npm run bench -- --only teaching` runs the whole of it. */
const METERS = 24;
/** Each was once learned wrongly: a second copy of the figure, a sign in a digit that the display does not show. */
const ONCE_WRONG = [
  [169, 5],
  [190, 5],
  [1399, 5],
  [1579, 7],
  [1903, 10],
] as const;

describe('invented meters', () => {
  it.each([
    [5, 0.75],
    [7, 0.8],
    [10, 0.85],
  ])(
    'from %i glances at least the share %f is learned, and none wrongly, in less than 2 s each',
    (glances, least) => {
      const rows = Array.from({ length: METERS }, (_, seed) => benchOne(seed, glances));
      const summary = summarise(rows);
      expect(summary.wrong).toEqual([]);
      expect(summary.learned / METERS).toBeGreaterThanOrEqual(least);
      expect(summary.slowestMs).toBeLessThan(2000);
    },
    1_000_000,
  );

  it.each(ONCE_WRONG)('meter %i is not learned wrongly from %i glances', (seed, glances) => {
    const { inRange, anywhere } = benchOne(seed, glances);
    expect([inRange.wrong, anywhere.wrong]).toEqual([0, 0]);
  });
});
