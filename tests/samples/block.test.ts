import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { FLAG, FLOAT32, FLOAT64 } from '../../drivers/core/reading.ts';
import { BlockError, blockInfo, decodeBlock } from '../../server/samples/block.ts';
import { columnsOf, emptyColumns, type SampleColumns } from '../../server/samples/columns.ts';
import { crc32c } from '../../server/samples/crc32c.ts';
import { anyColumns } from '../helpers/columns.ts';
import { encodeBlock } from '../helpers/oldBlock.ts';

const bits = (c: SampleColumns) => [
  new BigUint64Array(c.t.slice().buffer),
  new BigUint64Array(c.counts.slice().buffer),
  c.scale,
  c.flags,
];

function codeOf(work: () => unknown): string {
  try {
    work();
  } catch (error) {
    if (error instanceof BlockError) return error.code;
    throw error;
  }
  return 'read';
}

describe('CRC-32C', () => {
  // RFC 3720, appendix B.4; the last is the catalogued check value of the ASCII digits 1 to 9.
  test.each([
    ['32 zeros', new Uint8Array(32), 0x8a9136aa],
    ['32 ones', new Uint8Array(32).fill(0xff), 0x62a8ab43],
    ['ascending', Uint8Array.from({ length: 32 }, (_, i) => i), 0x46dd794e],
    ['descending', Uint8Array.from({ length: 32 }, (_, i) => 31 - i), 0x113fdb5c],
    ['"123456789"', new TextEncoder().encode('123456789'), 0xe3069283],
  ])('%s', (_, bytes, sum) => expect(crc32c(bytes)).toBe(sum));
});

describe('a block of codec 1', () => {
  test('gives back arbitrary samples bit for bit', () => {
    fc.assert(
      fc.property(anyColumns(), (c) => {
        const bytes = encodeBlock(c);
        expect(bits(decodeBlock(bytes))).toEqual(bits(c));
        expect(blockInfo(bytes).count).toBe(c.length);
      }),
      { seed: 1, numRuns: 1000 },
    );
  });

  test('knows its time range, whatever the order of its times', () => {
    const c = columnsOf([50, -3.25, 900, 20], [1, 2, 3, 4], [0, 0, 0, 0], [0, 0, 0, 0]);
    expect(blockInfo(encodeBlock(c))).toEqual({ codec: 1, count: 4, fromMs: -3.25, toMs: 900 });
    expect(blockInfo(encodeBlock(emptyColumns()))).toEqual({ codec: 1, count: 0, fromMs: 0, toMs: 0 });
  });

  test('keeps floats, minus zero and flags as they were', () => {
    const c = columnsOf(
      [0, 0.1, 1e300],
      [Math.fround(12.6), -0, 0.1 + 0.2],
      [FLOAT32, -3, FLOAT64],
      [0, FLAG.hold | FLAG.meterCellLow, 0xffff],
    );
    expect(bits(decodeBlock(encodeBlock(c)))).toEqual(bits(c));
  });

  test('has the bytes that FORMAT.md works through', () => {
    const c = columnsOf([100, 200, 301], [25, 26, 24], [-3, -3, -3], [0, 0, 4]);
    expect(Buffer.from(encodeBlock(c)).toString('hex')).toBe(
      [
        '4e42 01 00 03000000 0000000000005940 0000000000d07240 0f000000', // header
        'c801 ca01 01 00', // times
        '32 02 03', // counts
        '02 05 00  01 05 04', // runs of scale and flags
        'e8ad99b4', // CRC-32C
      ]
        .join('')
        .replaceAll(' ', ''),
    );
  });

  test('holds three bytes a sample or fewer on a jittered 10 Hz night', () => {
    let t = 0;
    const n = 8192;
    const times = Array.from({ length: n }, (_, i) => (t += 85 + ((i * 7919) % 31)));
    const counts = Array.from({ length: n }, (_, i) => 25 + ((i * 104_729) % 5));
    const c = columnsOf(times, counts, new Int8Array(n).fill(-3), new Uint16Array(n));
    expect(encodeBlock(c).length / n).toBeLessThan(3);
  });

  test.each([NaN, Infinity, -Infinity])('refuses %d, as time and as value', (x) => {
    expect(() => encodeBlock(columnsOf([x], [1], [0], [0]))).toThrow(RangeError);
    expect(() => encodeBlock(columnsOf([1], [x], [0], [0]))).toThrow(RangeError);
  });
});

describe('damage', () => {
  test('a block cut anywhere is told from an intact one', () => {
    fc.assert(
      fc.property(anyColumns(), fc.double({ min: 0, max: 1, maxExcluded: true, noNaN: true }), (c, part) => {
        const bytes = encodeBlock(c);
        expect(codeOf(() => decodeBlock(bytes.slice(0, Math.floor(bytes.length * part))))).toMatch(
          /truncated|corrupt/,
        );
      }),
      { seed: 2, numRuns: 500 },
    );
  });

  test('one to three bits flipped anywhere are detected', () => {
    fc.assert(
      fc.property(anyColumns(), fc.uniqueArray(fc.nat(), { minLength: 1, maxLength: 3 }), (c, at) => {
        const bytes = encodeBlock(c);
        for (const bit of new Set(at.map((b) => b % (bytes.length * 8)))) bytes[bit >> 3]! ^= 1 << (bit & 7);
        expect(codeOf(() => decodeBlock(bytes))).not.toBe('read');
        expect(codeOf(() => blockInfo(bytes))).not.toBe('read');
      }),
      { seed: 3, numRuns: 1000 },
    );
  });

  test('bytes of any other kind are refused, and nothing else is thrown', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 300 }), (bytes) => {
        expect(codeOf(() => decodeBlock(bytes))).not.toBe('read');
      }),
      { seed: 4, numRuns: 1000 },
    );
  });

  test('a well-summed block of nonsense is refused too', () => {
    const good = encodeBlock(columnsOf([100, 200, 301], [25, 26, 24], [-3, -3, -3], [0, 0, 4]));
    fc.assert(
      fc.property(fc.integer({ min: 3, max: good.length - 5 }), fc.integer({ min: 1, max: 255 }), (at, x) => {
        const bytes = good.slice();
        bytes[at]! ^= x;
        new DataView(bytes.buffer).setUint32(bytes.length - 4, crc32c(bytes, 0, bytes.length - 4), true);
        const found = codeOf(() => decodeBlock(bytes));
        expect(['read', 'corrupt', 'truncated']).toContain(found);
        if (found === 'read') expect(decodeBlock(bytes)).toHaveLength(3);
      }),
      { seed: 5, numRuns: 2000 },
    );
  });

  test('bytes after the end, and a codec of the future, are named', () => {
    const good = encodeBlock(columnsOf([1], [1], [0], [0]));
    expect(codeOf(() => decodeBlock(Uint8Array.of(...good, 0)))).toBe('corrupt');
    const future = good.slice();
    future[2] = 9;
    new DataView(future.buffer).setUint32(future.length - 4, crc32c(future, 0, future.length - 4), true);
    expect(codeOf(() => decodeBlock(future))).toBe('unknown-codec');
  });
});
