import fc from 'fast-check';
import { expect, it } from 'vitest';
import { thin } from '../../web/state/thin.ts';

const trace = (values: readonly (number | null)[], everyMs: number) => ({
  t: values.map((_, i) => 5000 + i * everyMs),
  y: [...values],
});

it('keeps lowest, highest and every break of a fast trace, in order, in a fraction of the points', () => {
  const value = fc.option(fc.integer({ min: -500, max: 500 }), { freq: 40 });
  fc.assert(
    fc.property(fc.array(value, { minLength: 400, maxLength: 3000 }), (values) => {
      const all = trace(values, 5);
      const few = thin(all, 100);
      expect(few.t.length).toBeLessThanOrEqual(3 * (Math.ceil(all.t.length / 20) + 1));
      expect(few.t).toEqual([...few.t].sort((a, b) => a - b));
      few.t.forEach((at, i) => expect(few.y[i]).toBe(all.y[(at - 5000) / 5]));
      for (let from = 5000; from < 5000 + values.length * 5; from += 100) {
        const within = ({ t, y }: typeof few) => y.filter((_, i) => t[i]! >= from && t[i]! < from + 100);
        const ends = (y: readonly (number | null)[]) => {
          const live = y.filter((v) => v !== null);
          return [Math.min(...live), Math.max(...live), y.includes(null)];
        };
        expect(ends(within(few))).toEqual(ends(within(all)));
      }
    }),
    { numRuns: 40, seed: 3 },
  );
});

it('leaves a slow trace alone', () => {
  const slow = trace([1, 2, null, 3], 250);
  expect(thin(slow, 100)).toBe(slow);
  expect(thin({ t: [], y: [] }, 100)).toEqual({ t: [], y: [] });
});

it('does not change what it said of a stretch that is over', () => {
  const values = Array.from({ length: 900 }, (_, i) => (i * 37) % 101);
  const early = thin(trace(values.slice(0, 600), 5), 100);
  const late = thin(trace(values, 5), 100);
  // The last stretch was still open.
  const closed = early.t.filter((t) => t < 7900);
  expect(late.t.slice(0, closed.length)).toEqual(closed);
});
