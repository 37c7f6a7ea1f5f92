import { readFileSync } from 'node:fs';
import path from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { BlockError } from '../../server/samples/block.ts';
import { columnsOf, type SampleColumns } from '../../server/samples/columns.ts';
import { crc32c } from '../../server/samples/crc32c.ts';
import {
  columnsAt,
  decodeChannel,
  decodeInstants,
  encodeInstants,
  FEW_IN_A_HURRY,
  instantsInfo,
} from '../../server/samples/instants.ts';
import { alone, shareEqualTimes, shareTimes, sliceInstants } from '../../server/samples/merge.ts';
import { month } from '../bench/month.ts';
import { anyColumns } from '../helpers/columns.ts';
import { anyInstants, awkward, bits } from '../helpers/instants.ts';
import { encodeBlock } from '../helpers/oldBlock.ts';
import { readByTheBook } from '../helpers/formatReader.ts';
import { seeded } from '../helpers/seeded.ts';

function codeOf(work: () => unknown): string {
  try {
    work();
  } catch (error) {
    if (error instanceof BlockError) return error.code;
    throw error;
  }
  return 'read';
}

const N = 8192;
const night = (instants: number, options = {}) => {
  const { t, current, voltage } = month(instants, 3, options);
  const column = (counts: Float64Array): SampleColumns => ({
    length: instants,
    t,
    counts,
    scale: new Int8Array(instants).fill(-3),
    flags: new Uint16Array(instants),
  });
  return shareTimes([column(current), column(voltage)])[0]!.instants;
};

describe('a block of instants', () => {
  test('gives back arbitrary samples bit for bit, also to a reader written from FORMAT.md', () => {
    fc.assert(
      fc.property(anyInstants(), (block) => {
        const bytes = encodeInstants(block);
        expect(bits(decodeInstants(bytes))).toEqual(bits(block));
        expect(bits(readByTheBook(bytes))).toEqual(bits(block));
      }),
      { seed: 51, numRuns: 400 },
    );
  });

  test.each(Object.keys(awkward))('gives back long runs: %s', (name) => {
    const block = awkward[name]!(seeded(name.length));
    const bytes = encodeInstants(block);
    expect(bits(decodeInstants(bytes))).toEqual(bits(block));
    expect(bits(readByTheBook(bytes))).toEqual(bits(block));
  });

  test('written in a hurry it is plainer and gives back the same, also by the book', () => {
    for (const name of ['night', ...Object.keys(awkward)]) {
      const whole = name === 'night' ? night(N) : awkward[name]!(seeded(name.length));
      for (const length of [1, 2, 127, 128, FEW_IN_A_HURRY - 1, FEW_IN_A_HURRY]) {
        const block = sliceInstants(whole, 0, Math.min(length, whole.length));
        const bytes = encodeInstants(block, FEW_IN_A_HURRY);
        expect(bits(decodeInstants(bytes)), `${name}, ${length}`).toEqual(bits(block));
        expect(bits(readByTheBook(bytes)), `${name}, ${length}`).toEqual(bits(block));
      }
    }
    const few = sliceInstants(night(N), 0, 200);
    const [plain, coded] = [encodeInstants(few, FEW_IN_A_HURRY).length, encodeInstants(few).length];
    expect(plain).toBeGreaterThan(coded);
    // Five of them to a page of the database, whatever the times.
    expect(plain).toBeLessThan(800);
  });

  test('says of each channel what its live samples amount to', () => {
    const block = shareTimes([columnsOf([0, 5, 9], [25, 26, 99], [-3, -3, -3], [0, 0, 2])])[0]!.instants;
    const info = instantsInfo(encodeInstants(block));
    expect(info).toMatchObject({ codec: 3, count: 3, fromMs: 0, toMs: 9 });
    expect(info.channels).toEqual([{ samples: 3, live: 2, min: 0.025, max: 0.026, sum: 0.051 }]);
  });

  test('has the bytes that FORMAT.md works through', () => {
    const book = readFileSync(path.join(import.meta.dirname, '../../server/samples/FORMAT.md'), 'utf8');
    const hex = book
      .slice(book.indexOf('## Example'))
      .split('\n')
      .flatMap((line) => /^ {4}((?:[0-9a-f]+ )*[0-9a-f]+) {2,}/.exec(line)?.[1] ?? [])
      .join('')
      .replaceAll(' ', '');
    const block = alone(columnsOf([100, 200, 301], [25, 26, 24], [-3, -3, -3], [0, 0, 4]));
    expect(Buffer.from(encodeInstants(block)).toString('hex')).toBe(hex);
  });

  test('reads what codec 1 wrote', () => {
    fc.assert(
      fc.property(anyColumns(), (c) => {
        const old = decodeInstants(encodeBlock(c));
        expect(bits(old)).toEqual(bits(alone(c)));
      }),
      { seed: 52, numRuns: 200 },
    );
  });

  test('reads what codec 2 wrote, as a reader written from FORMAT.md does', () => {
    const file = path.join(import.meta.dirname, '../vectors/blocks/codec-2.json');
    const { blocks } = JSON.parse(readFileSync(file, 'utf8')) as { blocks: Record<string, string> };
    expect(Object.keys(blocks)).toHaveLength(Object.keys(awkward).length + 1);
    for (const [name, base64] of Object.entries(blocks)) {
      const bytes = new Uint8Array(Buffer.from(base64, 'base64'));
      const block = decodeInstants(bytes);
      expect(bits(readByTheBook(bytes))).toEqual(bits(block));
      expect(instantsInfo(bytes).channels.length).toBe(block.channels.length);
      if (name in awkward)
        expect(bits(block)).toEqual(bits(sliceInstants(awkward[name]!(seeded(name.length)), 0, 400)));
      block.channels.forEach((_, c) => expect(decodeChannel(bytes, c)).toEqual(columnsAt(block, c)));
    }
  });

  test('gives one channel alone as it gives all', () => {
    fc.assert(
      fc.property(anyInstants(), (block) => {
        const bytes = encodeInstants(block);
        block.channels.forEach((_, c) => expect(decodeChannel(bytes, c)).toEqual(columnsAt(block, c)));
        expect(() => decodeChannel(bytes, block.channels.length)).toThrow(BlockError);
      }),
      { seed: 57, numRuns: 100 },
    );
  });

  test('takes little room where times sit on a grid, and where the meter counts its own ticks', () => {
    const jittered = encodeInstants(night(N)).length / N;
    expect(jittered).toBeLessThan(1.12);
    const ticked = encodeInstants(night(N, { jitterMs: 0 })).length / N;
    expect(ticked).toBeLessThan(0.5);
    const fast = encodeInstants(night(N, { intervalMs: 5, jitterMs: 3 })).length / N;
    expect(fast).toBeLessThan(1.3);
  });

  test('keeps a grid whose step drifts, stops and starts again', () => {
    const random = seeded(8);
    let clock = 0;
    const t = Float64Array.from({ length: N }, (_, i) => {
      clock += 100 * (1 + 1e-4 * Math.sin(i / 700)) + (i === 3000 ? 43_217 : 0);
      return Math.floor(clock + 30 * random());
    });
    const block = { length: N, t, channels: [] };
    const bytes = encodeInstants(block);
    expect(bits(decodeInstants(bytes))).toEqual(bits(block));
    expect(bytes.length / N).toBeLessThan(0.75);
  });

  test.each([NaN, Infinity, -Infinity])('refuses %d, as time and as value', (x) => {
    const refuse = (t: number, y: number) => () =>
      encodeInstants(shareTimes([columnsOf([t], [y], [0], [0])])[0]!.instants);
    expect(refuse(x, 1)).toThrow(RangeError);
    expect(refuse(1, x)).toThrow(RangeError);
  });

  test('over a million samples of all kinds comes back with the same digest', { timeout: 60_000 }, () => {
    const random = seeded(4711);
    let [written, read] = [0, 0];
    let samples = 0;
    const names = Object.keys(awkward);
    for (let k = 0; samples < 1_000_000; k++) {
      const block = awkward[names[k % names.length]!]!(random);
      const again = decodeInstants(encodeInstants(block));
      for (const array of bits(block)) written = digest(written, array);
      for (const array of bits(again)) read = digest(read, array);
      samples += block.channels.reduce((n, c) => n + c.counts.length, 0);
    }
    expect(read).toBe(written);
  });
});

/** The checksum of all bytes so far, and of these. */
function digest(before: number, array: ArrayBufferView): number {
  const bytes = new Uint8Array(array.buffer, array.byteOffset, array.byteLength);
  return (
    crc32c(Uint8Array.of(before & 255, (before >> 8) & 255, (before >> 16) & 255, before >>> 24)) ^
    crc32c(bytes)
  );
}

describe('damage', () => {
  test('a block cut anywhere is told from an intact one', () => {
    fc.assert(
      fc.property(
        anyInstants(),
        fc.double({ min: 0, max: 1, maxExcluded: true, noNaN: true }),
        (block, part) => {
          const bytes = encodeInstants(block);
          expect(codeOf(() => decodeInstants(bytes.slice(0, Math.floor(bytes.length * part))))).toMatch(
            /truncated|corrupt/,
          );
        },
      ),
      { seed: 53, numRuns: 300 },
    );
  });

  test('bits flipped anywhere are detected', () => {
    const good = encodeInstants(night(2000));
    fc.assert(
      fc.property(fc.uniqueArray(fc.nat(), { minLength: 1, maxLength: 3 }), (at) => {
        const bytes = good.slice();
        for (const bit of new Set(at.map((b) => b % (bytes.length * 8)))) bytes[bit >> 3]! ^= 1 << (bit & 7);
        expect(codeOf(() => decodeInstants(bytes))).not.toBe('read');
        expect(codeOf(() => instantsInfo(bytes))).not.toBe('read');
      }),
      { seed: 54, numRuns: 1000 },
    );
  });

  test('a well-summed block of nonsense is refused or read as something, and nothing else happens', () => {
    const blocks = [
      encodeInstants(night(300)),
      encodeInstants(night(300, { jitterMs: 0 })),
      encodeInstants(night(20)),
    ];
    fc.assert(
      fc.property(fc.constantFrom(...blocks), fc.nat(), fc.integer({ min: 1, max: 255 }), (good, at, x) => {
        const bytes = good.slice();
        bytes[3 + (at % (bytes.length - 7))]! ^= x;
        new DataView(bytes.buffer).setUint32(bytes.length - 4, crc32c(bytes, 0, bytes.length - 4), true);
        expect(['read', 'corrupt', 'truncated']).toContain(codeOf(() => decodeInstants(bytes)));
      }),
      { seed: 55, numRuns: 3000 },
    );
  });
});

describe('shared times', () => {
  test('change no channel, whatever the times', () => {
    fc.assert(
      fc.property(fc.array(anyColumns(40), { maxLength: 4 }), fc.nat(30), (all, cut) => {
        for (const share of [shareTimes, shareEqualTimes]) {
          const groups = share(all);
          for (const { members, instants } of groups) {
            expect(new Set(members).size).toBe(members.length);
            const at = Math.min(cut, instants.length);
            const halves = [sliceInstants(instants, 0, at), sliceInstants(instants, at, instants.length)];
            members.forEach((k, c) => {
              const again = halves.map((half) => columnsAt(half, c));
              const flat = (of: (x: SampleColumns) => ArrayLike<number>) =>
                again.flatMap((x) => Array.from(of(x)));
              expect(flat((x) => x.t)).toEqual([...all[k]!.t]);
              expect(flat((x) => x.counts)).toEqual([...all[k]!.counts]);
              expect(flat((x) => x.scale)).toEqual([...all[k]!.scale]);
              expect(flat((x) => x.flags)).toEqual([...all[k]!.flags]);
            });
          }
          const shown = groups.flatMap((g) => g.members).sort((a, b) => a - b);
          expect(shown).toEqual(all.flatMap((c, k) => (c.length > 0 ? [k] : [])));
        }
      }),
      { seed: 56, numRuns: 500 },
    );
  });

  test('bring channels together that miss a reading here and there', () => {
    const t = Float64Array.from({ length: 1000 }, (_, i) => i * 100);
    const column = (times: Float64Array) =>
      columnsOf(times, times, new Int8Array(times.length).fill(-3), new Uint16Array(times.length));
    const groups = shareTimes([
      column(t),
      column(t.filter((_, i) => i % 50 !== 7)),
      column(t.map((x) => x + 40)),
      column(t.filter((_, i) => i % 10 === 0)),
    ]);
    expect(groups.map((g) => g.members)).toEqual([[0, 1, 3], [2]]);
    expect(groups[0]!.instants.length).toBe(1000);
  });
});
