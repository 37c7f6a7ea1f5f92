import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { FLAG, isLive, valueOf } from '../../drivers/core/reading.ts';
import { bucketsOf, type Buckets } from '../../server/samples/buckets.ts';
import { columnsOf, type SampleColumns } from '../../server/samples/columns.ts';
import { anyColumns } from '../helpers/columns.ts';

/** The same, slow and obvious: every bucket looks at every sample. */
function plainScan(c: SampleColumns, from: number, to: number, buckets: number): Buckets {
  const shown = Array.from({ length: c.length }, (_, i) => ({
    t: c.t[i]!,
    y: valueOf(c.counts[i]!, c.scale[i]!),
    live: isLive(c.flags[i]!),
  })).filter((s) => s.live && s.t >= from && s.t <= to);
  if (shown.length <= buckets) {
    const sorted = shown.toSorted((a, b) => a.t - b.t);
    const y = Float64Array.from(sorted, (s) => s.y);
    return { raw: true, t: Float64Array.from(sorted, (s) => s.t / 1000), min: y, max: y };
  }
  const width = (to - from) / buckets;
  const out = { t: [] as number[], min: [] as number[], max: [] as number[] };
  for (let b = 0; b < buckets; b++) {
    const inside = shown.filter((s) => {
      const at = width === 0 ? 0 : Math.floor((s.t - from) / width);
      return at === b || (b === buckets - 1 && at > b);
    });
    if (inside.length === 0) continue;
    out.t.push((from + (b + 0.5) * width) / 1000);
    out.min.push(Math.min(...inside.map((s) => s.y)));
    out.max.push(Math.max(...inside.map((s) => s.y)));
  }
  return {
    raw: false,
    t: Float64Array.from(out.t),
    min: Float64Array.from(out.min),
    max: Float64Array.from(out.max),
  };
}

describe('buckets', () => {
  test('say the same as a plain scan', () => {
    const t = fc.integer({ min: -1000, max: 200_000 });
    fc.assert(
      fc.property(anyColumns(), t, t, fc.integer({ min: 1, max: 40 }), (c, a, b, n) => {
        const [from, to] = [Math.min(a, b), Math.max(a, b)];
        // Math.min tells -0 from 0, a comparison does not; a chart cannot show the difference.
        const plain = ({ raw, t, min, max }: Buckets) => [raw, [...t], [...min, ...max].map((y) => y + 0)];
        expect(plain(bucketsOf(c, from, to, n))).toEqual(plain(plainScan(c, from, to, n)));
      }),
      { seed: 7, numRuns: 500 },
    );
  });

  test('lose no peak: one spike of one sample in 100 000 is in the picture', () => {
    const n = 100_000;
    const t = Float64Array.from({ length: n }, (_, i) => i * 100);
    const counts = new Float64Array(n).fill(25);
    counts[71_234] = 4000;
    const c = columnsOf(t, counts, new Int8Array(n).fill(-3), new Uint16Array(n));
    const b = bucketsOf(c, 0, (n - 1) * 100, 1200);
    expect(b.t).toHaveLength(1200);
    expect(Math.max(...b.max)).toBe(4);
    const at = b.max.indexOf(4);
    expect(Math.abs(b.t[at]! - 7123.4)).toBeLessThan(n / 10 / 1200);
  });

  test('both ends belong to the picture, and what is not live does not', () => {
    const c = columnsOf([0, 5, 10, 11], [1, 9, 3, 4], [0, 0, 0, 0], [0, FLAG.overload, 0, 0]);
    expect(bucketsOf(c, 0, 10, 10)).toEqual({
      raw: true,
      t: Float64Array.of(0, 0.01),
      min: Float64Array.of(1, 3),
      max: Float64Array.of(1, 3),
    });
    expect([...bucketsOf(c, 0, 10, 1).max]).toEqual([3]);
  });

  test('refuse a window that is none', () => {
    const c = columnsOf([], [], [], []);
    expect(() => bucketsOf(c, 1, 0, 10)).toThrow(RangeError);
    expect(() => bucketsOf(c, NaN, 0, 10)).toThrow(RangeError);
    expect(() => bucketsOf(c, 0, 1, 0)).toThrow(RangeError);
    expect(bucketsOf(c, 0, 1, 10).t).toHaveLength(0);
  });
});
