import { readFileSync } from 'node:fs';
import path from 'node:path';
import { gzipSync } from 'node:zlib';
import { describe, expect, test } from 'vitest';
import { outcomeOf, readWhole, type ReadCsv } from '../helpers/csv.ts';
import { slowCsv } from '../helpers/slowCsv.ts';

/** Files and what must come of each; "-0" stands for minus zero, which JSON does not have. */
interface Vector {
  readonly name: string;
  readonly text: string;
  readonly reads?: {
    readonly channels: readonly {
      quantity: string;
      t: number[];
      counts: (number | '-0')[];
      scale: number[];
      flags: number[];
    }[];
    readonly startedAt?: string | null;
    readonly events?: unknown[];
    readonly ignored?: string[];
  };
  readonly refused?: { readonly line: number | null; readonly reason: string };
}

const vectors = JSON.parse(
  readFileSync(path.join(import.meta.dirname, '../vectors/csv.json'), 'utf8'),
) as Vector[];
const bytesOf = (text: string) => new TextEncoder().encode(text);

function channelsOf(read: ReadCsv) {
  return read.channels.map(({ input, ...samples }) => ({ quantity: input.quantity, ...samples }));
}

function refusalOf(bytes: Uint8Array, name = 'night.csv') {
  const outcome = outcomeOf(() => readWhole(bytes, name));
  return 'reason' in outcome ? outcome : null;
}

const readable = vectors.filter((v) => v.reads !== undefined);
const refused = vectors.filter((v) => v.refused !== undefined);

test('each vector declares its outcome', () => {
  expect(readable.length + refused.length).toBe(vectors.length);
  expect(readable.length).toBeGreaterThan(30);
  expect(refused.length).toBeGreaterThan(25);
});

describe('is read', () => {
  test.each(readable)('$name', ({ text, reads }) => {
    const parsed = readWhole(bytesOf(text), 'night.csv');
    expect(channelsOf(parsed)).toEqual(
      reads!.channels.map((c) => ({ ...c, counts: c.counts.map((x) => (x === '-0' ? -0 : x)) })),
    );
    if (reads!.startedAt !== undefined) expect(parsed.startedAt).toBe(reads!.startedAt);
    if (reads!.events !== undefined) expect(parsed.events).toEqual(reads!.events);
    if (reads!.ignored !== undefined) expect(parsed.ignored).toEqual(reads!.ignored);
    expect(channelsOf(readWhole(gzipSync(text), 'night.csv.gz'))).toEqual(channelsOf(parsed));
    expect(slowCsv(bytesOf(text), 'night.csv')).toEqual(parsed);
  });
});

describe('is refused', () => {
  test.each(refused)('$name', ({ text, refused }) => {
    const error = refusalOf(bytesOf(text));
    expect(error?.line).toBe(refused!.line);
    expect(error?.reason).toContain(refused!.reason);
    expect(error?.reason).not.toContain('\n');
    expect(outcomeOf(() => slowCsv(bytesOf(text), 'night.csv'))).toEqual(error);
    expect(() => readWhole(bytesOf(text), 'night.csv')).toThrow(
      `night.csv${refused!.line === null ? '' : `, line ${refused!.line}`}: ${error?.reason}`,
    );
  });

  test('a gzip that is cut off or damaged', () => {
    const packed = gzipSync('time_s,current_A\n0,1\n');
    expect(refusalOf(packed.subarray(0, packed.length - 6))?.reason).toMatch(/damaged or cut off/);
    packed[15]! ^= 0xff;
    expect(refusalOf(packed)?.reason).toMatch(/damaged or cut off/);
  });

  test('rows in no order at all', () => {
    const rows = Array.from({ length: 1000 }, (_, i) => `${(i * 7919) % 997},1`);
    const error = refusalOf(bytesOf(`time_s,current_A\n${rows.join('\n')}\n`));
    expect(error?.reason).toMatch(/sort the file by time/);
    expect(error?.line).toBeGreaterThan(100);
    const bytes = bytesOf(`time_s,current_A\n${rows.join('\n')}\n`);
    expect(outcomeOf(() => readWhole(bytes, 'night.csv', { piece: 100, blockRows: 5 }))).toEqual(error);
    expect(outcomeOf(() => slowCsv(bytes, 'night.csv'))).toEqual(error);
  });
});

test('the encodings of spreadsheets are read', () => {
  const text = 'time_s\tI (µA)\n0\t7\n';
  const utf16 = Buffer.from(`\ufeff${text}`, 'utf16le');
  const expected = [{ quantity: 'current', t: [0], counts: [7], scale: [-6], flags: [0] }];
  expect(channelsOf(readWhole(utf16, 'a.txt'))).toEqual(expected);
  expect(channelsOf(readWhole(Buffer.from(utf16).swap16(), 'a.txt'))).toEqual(expected);
  expect(channelsOf(readWhole(Buffer.from(text, 'latin1'), 'a.txt'))).toEqual(expected);
});
