import fc from 'fast-check';
import { expect, test } from 'vitest';
import { seeded } from '../helpers/seeded.ts';
import { figure, quantile, target } from './bench.ts';
import { bitsOfCounts, bitsOfTimes } from './entropy.ts';
import { markdownOf, machine, textOf } from './print.ts';
import { RangeExtremes } from './rangeExtremes.ts';

test('figures have three significant digits', () => {
  expect([0, 0.0123456, 1.23456, 12.3456, 123.456, 1_234_567].map(figure)).toEqual([
    '0',
    '0.0123',
    '1.23',
    '12.3',
    '123',
    '1,230,000',
  ]);
  expect(figure(Infinity)).toBe('Infinity');
});

test('quantiles are values that occur', () => {
  const numbers = Array.from({ length: 100 }, (_, i) => 100 - i);
  expect([0, 0.5, 0.99, 1].map((p) => quantile(numbers, p))).toEqual([1, 50, 99, 100]);
});

test('a target says what was wanted and whether it was met', () => {
  expect(target('size', 1.17, '<=', 1.2, 'bytes').met).toBe(true);
  expect(target('rate', 1e6, '>=', 2e6, 'lines/s')).toMatchObject({
    met: false,
    wanted: 'at least 2,000,000 lines/s',
    got: '1,000,000 lines/s',
  });
});

test('the entropy of known readings comes out', () => {
  const random = seeded(3);
  const n = 100_000;
  // Delays of 0 to 31 whole milliseconds, all as likely: 5 bits. Counts of 0 to 3 likewise: 2 bits.
  const t = Float64Array.from({ length: n }, (_, i) => i * 100 + Math.floor(random() * 32));
  const counts = Float64Array.from({ length: n }, () => 500 + Math.floor(random() * 4));
  expect(bitsOfTimes(t)).toBeCloseTo(5, 1);
  expect(bitsOfCounts(counts)).toBeCloseTo(2, 1);
  expect(bitsOfCounts(counts.fill(7))).toBe(0);
});

test('the pyramid in memory gives what a scan gives', () => {
  const values = fc.array(fc.integer({ min: -50, max: 50 }), { minLength: 1, maxLength: 9000 });
  fc.assert(
    fc.property(values, fc.nat(900_000), fc.integer({ min: 1, max: 900_000 }), (y, from, span) => {
      const t = Float64Array.from(y, (_, i) => i * 100);
      const out = new RangeExtremes(t, Float64Array.from(y)).buckets(from, from + span, 7);
      for (let b = 0; b < 7; b++) {
        const inside = y.filter(
          (_, i) => i * 100 >= from + (span * b) / 7 && i * 100 < from + (span * (b + 1)) / 7,
        );
        expect(out[2 * b]).toBe(Math.min(...inside));
        expect(out[2 * b + 1]).toBe(Math.max(...inside));
      }
    }),
    { seed: 61, numRuns: 60 },
  );
});

test('tables are printed for a terminal and as Markdown', () => {
  const table = {
    title: 'Size',
    columns: ['bytes'],
    rows: [
      { name: 'blocks', kind: 'ours' as const, cells: [1.17] },
      { name: 'rows', kind: 'peer' as const, cells: [null], note: 'on one day' },
    ],
    targets: [target('size', 1.17, '<=', 1, 'bytes')],
  };
  expect(textOf(table)).toContain('* blocks   1.17');
  expect(textOf(table)).toContain('NOT MET: size, at most 1.00 bytes: 1.17 bytes');
  const run = {
    machine: machine(),
    days: 30,
    seconds: 1,
    topics: [{ topic: 'size', seconds: 1, tables: [table] }],
  };
  expect(markdownOf(run)).toContain('| **blocks** | 1.17 |');
  expect(markdownOf(run)).toContain('| rows | - | on one day |');
});
