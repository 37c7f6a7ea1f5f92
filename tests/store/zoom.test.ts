import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import Database from 'better-sqlite3';
import { afterAll, describe, expect, test } from 'vitest';
import { isLive, valueOf } from '../../drivers/core/reading.ts';
import { bucketsOf, type Buckets } from '../../server/samples/buckets.ts';
import { joinColumns, sliceColumns, type SampleColumns } from '../../server/samples/columns.ts';
import { openStore, storeOn } from '../../server/store/openStore.ts';
import { NIGHT, stepOf } from '../contract/store.ts';
import { seeded } from '../helpers/seeded.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-zoom-'));
afterAll(() => rmSync(folder, { recursive: true }));
let files = 0;
const newFile = () => path.join(folder, `${++files}.db`);

type Random = () => number;

/** Samples at the times that `step` makes; now and then a peak, a stretch of hold with a value never seen live. */
function samples(n: number, random: Random, step: (i: number) => number): SampleColumns {
  const t = new Float64Array(n);
  const counts = new Float64Array(n);
  const flags = new Uint16Array(n);
  let clock = 0;
  let hold = 0;
  for (let i = 0; i < n; i++) {
    clock += step(i);
    t[i] = clock;
    counts[i] = 20 + Math.round(3 * random()) + (random() < 1 / 700 ? Math.round(1900 * random()) : 0);
    if (random() < 1 / 3000) hold = 200;
    if (hold-- > 0) [counts[i], flags[i]] = [50_000, 2];
  }
  return { length: n, t, counts, scale: new Int8Array(n).fill(-3), flags };
}

const SHAPES: Readonly<Record<string, (random: Random) => SampleColumns>> = {
  'a radio that delivers late': (r) => samples(40_000, r, () => 85 + Math.floor(30 * r())),
  'fast, then slow, then nothing for hours': (r) =>
    samples(30_000, r, (i) => (i === 20_000 ? 2e7 : i < 12_000 ? 5 : 1000)),
  'times that repeat and go back': (r) =>
    samples(25_000, r, (i) => (i % 9001 === 9000 ? -400_000 : i % 3 === 0 ? 0 : 150)),
  'fractions of a millisecond': (r) => samples(20_000, r, () => 100 + r()),
};

/** Extremes of the live samples of each part, and of these widened by a part on both sides. */
function plainScan(c: SampleColumns, fromMs: number, width: number, buckets: number) {
  const own = Array.from({ length: buckets }, () => [Infinity, -Infinity] as [number, number]);
  const wide = Array.from({ length: buckets }, () => [Infinity, -Infinity] as [number, number]);
  const take = (at: [number, number] | undefined, y: number) => {
    if (at === undefined) return;
    if (y < at[0]) at[0] = y;
    if (y > at[1]) at[1] = y;
  };
  for (let i = 0; i < c.length; i++) {
    if (!isLive(c.flags[i]!)) continue;
    const y = valueOf(c.counts[i]!, c.scale[i]!);
    const ms = c.t[i]!;
    const last = ms === fromMs + width * buckets;
    const b = last ? buckets - 1 : Math.floor((ms - fromMs) / width);
    take(own[b], y);
    for (const near of [b - 1, b, b + 1]) take(wide[near], y);
  }
  return { own, wide };
}

function expectNoPeakLost(
  got: Buckets,
  c: SampleColumns,
  fromMs: number,
  width: number,
  buckets: number,
): void {
  const plain = bucketsOf(c, fromMs, fromMs + width * buckets, buckets);
  expect(got.raw).toBe(plain.raw);
  if (plain.raw) {
    expect(got).toEqual(plain);
    return;
  }
  const { own, wide } = plainScan(c, fromMs, width, buckets);
  const at = new Map(Array.from(got.t, (s, k) => [Math.floor((s * 1000 - fromMs) / width), k]));
  expect(at.size).toBe(got.t.length);
  let wrong = 0;
  own.forEach(([low, high], b) => {
    const k = at.get(b);
    if (k === undefined) {
      if (low <= high) wrong++;
      return;
    }
    if (!(got.min[k]! <= low && got.max[k]! >= high)) wrong++;
    if (!(got.min[k]! >= wide[b]![0] && got.max[k]! <= wide[b]![1])) wrong++;
  });
  expect(wrong).toBe(0);
}

describe('zoom, against a plain scan', () => {
  test.each(Object.keys(SHAPES))('loses no peak and makes none up: %s', (name) => {
    const random = seeded(name.length);
    const store = openStore(newFile());
    const { id, channels } = store.createRecording(NIGHT);
    const [current, voltage] = channels.map((c) => c.id) as [number, number];
    const first = SHAPES[name]!(random);
    const keep = (_: number, i: number) => i % 31 !== 7;
    const second: SampleColumns = {
      length: first.t.filter(keep).length,
      t: first.t.filter(keep),
      counts: first.counts.map((x, i) => ((i * 7919) % 13_000) + x).filter(keep),
      scale: first.scale.filter(keep),
      flags: first.flags.filter(keep),
    };
    const latest = first.t.reduce((a, b) => Math.max(a, b));
    for (let at = 0; at < first.length;) {
      const size = Math.ceil(9000 * random());
      const [a, b] = [sliceColumns(first, at, at + size), sliceColumns(second, at, at + size)];
      store.commit({
        ...stepOf(id, current, a),
        samples: [
          { channelId: current, columns: a },
          { channelId: voltage, columns: b },
        ],
      });
      at += size;
      // Running recordings grow between two looks.
      const so = [sliceColumns(first, 0, at), sliceColumns(second, 0, at)];
      for (let k = 0; k < 12; k++) {
        const buckets = 1 + Math.floor(300 * random());
        const width = Math.max(1, Math.round((latest / buckets) * 1.2 * Math.exp(-9 * random())));
        const fromMs = Math.floor((latest * 1.1 - width * buckets) * random());
        const got = store.zoom([voltage, current], fromMs, fromMs + width * buckets, buckets);
        expectNoPeakLost(got[1]!, so[0]!, fromMs, width, buckets);
        expectNoPeakLost(got[0]!, so[1]!, fromMs, width, buckets);
      }
    }
    store.close();
  });

  test('gives each sample to its own part where parts are shorter than an entry of the pyramid', () => {
    const random = seeded(4);
    const store = openStore(newFile());
    const { id, channels } = store.createRecording(NIGHT);
    const all = samples(30_000, random, () => 85 + Math.floor(30 * random()));
    store.commit(stepOf(id, channels[0]!.id, all));
    for (let k = 0; k < 60; k++) {
      const width = 1 + Math.floor(2600 * random());
      const fromMs = Math.floor(2_000_000 * random());
      const buckets = 1 + Math.floor(100 * random());
      const [got] = store.zoom([channels[0]!.id], fromMs, fromMs + width * buckets, buckets);
      expect(got).toEqual(bucketsOf(all, fromMs, fromMs + width * buckets, buckets));
    }
    store.close();
  });

  test('sees what another process adds, and nothing of what was undone', () => {
    const file = newFile();
    const [a, b] = [openStore(file), openStore(file)];
    const { id, channels } = a.createRecording(NIGHT);
    const channelId = channels[0]!.id;
    const all = samples(40_000, seeded(6), (i) => (i === 0 ? 0 : 100));
    const part = (k: number) => sliceColumns(all, k * 10_000, (k + 1) * 10_000);
    const look = (store: typeof a) => store.zoom([channelId], 0, 4_000_000, 40)[0]!;
    a.commit(stepOf(id, channelId, part(0)));
    expect(look(a).t.length).toBe(10);
    b.commit(stepOf(id, channelId, part(1)));
    expect(look(a)).toEqual(look(b));
    expect(() =>
      a.atomically(() => {
        a.commit(stepOf(id, channelId, part(2)));
        expect(look(a).t.length).toBe(30);
        throw new Error('no');
      }),
    ).toThrow('no');
    expect(look(a).t.length).toBe(20);
    b.commit(stepOf(id, channelId, part(3)));
    expectNoPeakLost(look(a), joinColumns([part(0), part(1), part(3)]), 0, 100_000, 40);
    a.close();
    b.close();
  });

  test('goes on where a block or its pyramid is damaged', () => {
    const file = newFile();
    const db = new Database(file);
    const store = storeOn(db);
    const { id, channels } = store.createRecording(NIGHT);
    const all = samples(40_000, seeded(9), () => 100);
    store.commit(stepOf(id, channels[0]!.id, all));
    db.exec(`UPDATE blocks SET pyramid = x'00112233' WHERE id = 1;
             UPDATE blocks SET pyramid = NULL, bytes = x'00' WHERE id = 2;`);
    const [got] = store.zoom([channels[0]!.id], 0, 4_000_000, 40);
    const lost = store.listGaps(id)[0]!;
    const left = all.t.findIndex((t) => t > lost.endMs);
    expect(lost.startMs).toBeGreaterThan(0);
    const rest = joinColumns([
      sliceColumns(all, 0, all.t.indexOf(lost.startMs)),
      sliceColumns(all, left, all.length),
    ]);
    expectNoPeakLost(got!, rest, 0, 100_000, 40);
    store.close();
  });
});
