import { expect, test } from 'vitest';
import { BucketSet, bucketsOf } from '../../server/samples/buckets.ts';
import type { SampleColumns } from '../../server/samples/columns.ts';
import { Levels, type Span } from '../../server/samples/levels.ts';
import { alone } from '../../server/samples/merge.ts';
import { baseOf, decodeBase, encodeBase } from '../../server/samples/pyramid.ts';
import { sliceColumns } from '../../server/samples/columns.ts';
import { seeded } from '../helpers/seeded.ts';

const N = 40_000;

function samples(): SampleColumns {
  const random = seeded(71);
  return {
    length: N,
    t: Float64Array.from({ length: N }, (_, i) => i * 100 + Math.floor(30 * random())),
    counts: Float64Array.from({ length: N }, () => (random() < 1e-3 ? 1900 : 20) + Math.floor(4 * random())),
    scale: new Int8Array(N).fill(-3),
    flags: Uint16Array.from({ length: N }, () => (random() < 0.01 ? 2 : 0)),
  };
}

function levelsOf(all: SampleColumns): Levels {
  const levels = new Levels(1);
  // Blocks of odd lengths, so that the last entries are short.
  for (let at = 0; at < all.length; at += 7001) {
    const block = alone(sliceColumns(all, at, at + 7001));
    levels.add(decodeBase(encodeBase(baseOf(block))!, block.length, 1));
  }
  return levels;
}

/** The parts of a window; the samples of the stretches that the levels leave open are looked at themselves. */
function picture(levels: Levels, all: SampleColumns, fromMs: number, toMs: number, parts: number) {
  const set = new BucketSet(fromMs, toMs, parts);
  const spans: Span[] = [];
  levels.collect([0], [set], spans);
  for (const [a, b] of spans) {
    const from = all.t.findIndex((t) => t >= a);
    const to = all.t.findLastIndex((t) => t <= b) + 1;
    set.addSamples(sliceColumns(all, from, to));
  }
  return { got: set.result(), spans };
}

test.each([
  ['as they are', Infinity],
  ['kept in a quarter of the room', 0.25],
  ['kept in next to no room', 0],
])('levels %s lose no peak', (_, share) => {
  const all = samples();
  const levels = levelsOf(all);
  const room = levels.bytes * share;
  levels.shrinkTo(room);
  if (share > 0) expect(levels.bytes).toBeLessThanOrEqual(room);
  else expect(levels.length).toBeLessThanOrEqual(8);
  const random = seeded(72);
  for (let k = 0; k < 200; k++) {
    const parts = 1 + Math.floor(200 * random());
    const width = Math.max(1, Math.round((N * 100 * Math.exp(-8 * random())) / parts));
    const fromMs = Math.floor((N * 100 - width * parts) * random());
    const { got } = picture(levels, all, fromMs, fromMs + width * parts, parts);
    const plain = bucketsOf(all, fromMs, fromMs + width * parts, parts);
    if (plain.raw) continue;
    const at = new Map(Array.from(got.t, (s, i) => [s, i]));
    const lost = plain.t.filter((s, i) => {
      const j = at.get(s);
      return j === undefined || got.min[j]! > plain.min[i]! || got.max[j]! < plain.max[i]!;
    });
    expect(lost).toHaveLength(0);
  }
});

test('levels leave open only what is longer than a part', () => {
  const all = samples();
  const levels = levelsOf(all);
  expect(picture(levels, all, 0, N * 100, 300).spans).toEqual([]);
  expect(picture(levels, all, 0, 100_000, 1000).spans.length).toBeGreaterThan(0);
});

test('levels say where live samples are while these are few', () => {
  const all = samples();
  all.flags.fill(2);
  all.flags.fill(0, 20_000, 20_010);
  const levels = levelsOf(all);
  const [[from, to], ...more] = levels.spansIfFew(0, 0, N * 100, 50)! as [Span, ...Span[]];
  expect(more).toEqual([]);
  expect(from <= all.t[20_000]! && to >= all.t[20_009]!).toBe(true);
  expect(to - from).toBeLessThan(10_000);
  expect(levels.spansIfFew(0, 0, N * 100, 9)).toBeNull();
});
