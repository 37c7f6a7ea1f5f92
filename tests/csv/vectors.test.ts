import { readFileSync } from 'node:fs';
import path from 'node:path';
import { gzipSync } from 'node:zlib';
import { describe, expect, test } from 'vitest';
import { parseCsv, type ParsedCsv } from '../../server/capture/csv.ts';
import { CsvError } from '../../server/capture/csvError.ts';

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

function channelsOf(parsed: ParsedCsv) {
  return parsed.channels.map(({ input, columns }) => ({
    quantity: input.quantity,
    t: [...columns.t],
    counts: [...columns.counts],
    scale: [...columns.scale],
    flags: [...columns.flags],
  }));
}

function refusalOf(bytes: Uint8Array): CsvError | null {
  try {
    parseCsv(bytes, 'night.csv');
    return null;
  } catch (error) {
    if (error instanceof CsvError) return error;
    throw error;
  }
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
    const parsed = parseCsv(bytesOf(text), 'night.csv');
    expect(channelsOf(parsed)).toEqual(
      reads!.channels.map((c) => ({ ...c, counts: c.counts.map((x) => (x === '-0' ? -0 : x)) })),
    );
    if (reads!.startedAt !== undefined) expect(parsed.startedAt).toBe(reads!.startedAt);
    if (reads!.events !== undefined) expect(parsed.events).toEqual(reads!.events);
    if (reads!.ignored !== undefined) expect(parsed.ignored).toEqual(reads!.ignored);
    expect(parseCsv(gzipSync(text), 'night.csv.gz').channels.map((c) => c.columns)).toEqual(
      parsed.channels.map((c) => c.columns),
    );
  });
});

describe('is refused', () => {
  test.each(refused)('$name', ({ text, refused }) => {
    const error = refusalOf(bytesOf(text));
    expect(error?.line).toBe(refused!.line);
    expect(error?.reason).toContain(refused!.reason);
    expect(error?.message).toBe(
      `night.csv${refused!.line === null ? '' : `, line ${refused!.line}`}: ${error?.reason}`,
    );
    expect(error?.message).not.toContain('\n');
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
  });
});

test('the encodings of spreadsheets are read', () => {
  const text = 'time_s\tI (µA)\n0\t7\n';
  const utf16 = Buffer.from(`\ufeff${text}`, 'utf16le');
  const expected = [{ quantity: 'current', t: [0], counts: [7], scale: [-6], flags: [0] }];
  expect(channelsOf(parseCsv(utf16, 'a.txt'))).toEqual(expected);
  expect(channelsOf(parseCsv(Buffer.from(utf16).swap16(), 'a.txt'))).toEqual(expected);
  expect(channelsOf(parseCsv(Buffer.from(text, 'latin1'), 'a.txt'))).toEqual(expected);
});
