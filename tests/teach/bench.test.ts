import { describe, expect, it } from 'vitest';
import { benchOne, summarise } from '../helpers/teachingBench.ts';

/**
 * A share of the bench of invented meters. The whole of it:
 * TEACHING_METERS=240 npx vitest run -c tests/vitest.config.ts tests/teach/bench.test.ts
 */
const asked = process.env.TEACHING_METERS;
const METERS = Number(asked ?? 24);

describe('invented meters', () => {
  it.each([
    [5, 0.75],
    [7, 0.75],
    [10, 0.85],
  ])(
    'from %i glances at least the share %f is learned, and none wrongly, in less than 2 s each',
    (glances, least) => {
      const rows = Array.from({ length: METERS }, (_, seed) => benchOne(seed, glances));
      const summary = summarise(rows);
      if (asked) console.log(JSON.stringify(summary));
      expect(summary.wrong).toEqual([]);
      expect(summary.learned / METERS).toBeGreaterThanOrEqual(least);
      expect(summary.slowestMs).toBeLessThan(2000);
    },
    1_000_000,
  );
});
