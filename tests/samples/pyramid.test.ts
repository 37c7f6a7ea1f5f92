import fc from 'fast-check';
import { expect, test } from 'vitest';
import { isLive, valueOf } from '../../drivers/core/reading.ts';
import { columnsAt } from '../../server/samples/instants.ts';
import { BASE, baseOf, decodeBase, encodeBase } from '../../server/samples/pyramid.ts';
import { anyInstants, awkward } from '../helpers/instants.ts';
import { seeded } from '../helpers/seeded.ts';
import type { Instants } from '../../server/samples/instants.ts';

/** Every entry, against a plain scan of its samples. */
function expectTrue(block: Instants): void {
  const made = baseOf(block);
  const bytes = encodeBase(made);
  const base = bytes === null ? made : decodeBase(bytes, block.length, block.channels.length);
  expect(base.from).toHaveLength(Math.ceil(block.length / BASE));
  block.channels.forEach(({ rows, counts, scale, flags }, c) => {
    const { t } = columnsAt(block, c);
    base.from.forEach((from, k) => {
      const live: number[] = [];
      counts.forEach((x, i) => {
        if (Math.floor((rows?.[i] ?? i) / BASE) !== k) return;
        // The span must hold the sample, or a picture would lose it.
        expect(t[i]! >= from && t[i]! <= base.to[k]!).toBe(true);
        if (isLive(flags[i]!)) live.push(valueOf(x, scale[i]!));
      });
      const { min, max, sum, live: number } = base.channels[c]!;
      expect(number[k]).toBe(live.length);
      expect(min[k]! + 0).toBe(live.length === 0 ? NaN : Math.min(...live) + 0);
      expect(max[k]! + 0).toBe(live.length === 0 ? NaN : Math.max(...live) + 0);
      const size = live.reduce((a, y) => a + Math.abs(y), 0);
      const total = live.reduce((a, y) => a + y, 0);
      // Sums of doubles differ in their last bits by the order of adding.
      if (Number.isFinite(size)) expect(Math.abs(sum[k]! - total)).toBeLessThanOrEqual(size * 1e-12);
    });
  });
}

test('a pyramid says of each entry what a plain scan says', () => {
  fc.assert(fc.property(anyInstants(), expectTrue), { seed: 61, numRuns: 300 });
});

test.each(Object.keys(awkward))('of long runs too: %s', (name) =>
  expectTrue(awkward[name]!(seeded(name.length))),
);
