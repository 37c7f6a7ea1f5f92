import { readFileSync } from 'node:fs';
import path from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { parseCsv, type ParsedCsv } from '../../server/capture/csv.ts';
import { CsvError } from '../../server/capture/csvError.ts';

const vectors = JSON.parse(readFileSync(path.join(import.meta.dirname, '../vectors/csv.json'), 'utf8')) as {
  text: string;
  reads?: unknown;
}[];
const texts = vectors.filter((v) => v.reads !== undefined).map((v) => Buffer.from(v.text));

/** What was read, or null where it was refused in the one permitted way. */
function parsed(bytes: Uint8Array): ParsedCsv | null {
  try {
    return parseCsv(bytes, 'fuzz.csv');
  } catch (error) {
    if (error instanceof CsvError) return null;
    throw error;
  }
}

function expectSane(read: ParsedCsv): void {
  for (const { columns } of read.channels) {
    const { t, counts, length } = columns;
    expect([t.length, counts.length, columns.scale.length, columns.flags.length]).toEqual(
      Array(4).fill(length),
    );
    expect(t.every(Number.isFinite) && counts.every(Number.isFinite)).toBe(true);
    expect(read.recording !== null || t.every((x, i) => i === 0 || x >= t[i - 1]!)).toBe(true);
  }
  expect(Number.isFinite(read.durationMs)).toBe(true);
}

describe('the CSV reader', () => {
  test('reads or refuses mutated files, and never does anything else', { timeout: 60_000 }, () => {
    const edit = fc.record({
      at: fc.nat({ max: 400 }),
      remove: fc.integer({ min: 0, max: 3 }),
      add: fc.oneof(
        fc.constantFrom(
          ',',
          ';',
          '\t',
          '"',
          '\n',
          '\r',
          'e',
          '-',
          '.',
          ' ',
          '0',
          '9999999999999999',
          'Z',
          ':',
        ),
        fc.string({ maxLength: 4, unit: 'binary' }),
      ),
    });
    const mutated = fc
      .tuple(fc.constantFrom(...texts), fc.array(edit, { minLength: 1, maxLength: 4 }))
      .map(([text, edits]) =>
        edits.reduce((b, { at, remove, add }) => {
          const i = at % (b.length + 1);
          return Buffer.concat([b.subarray(0, i), Buffer.from(add), b.subarray(i + remove)]);
        }, text),
      );
    let read = 0;
    fc.assert(
      fc.property(mutated, (bytes) => {
        const result = parsed(bytes);
        if (result === null) return;
        read++;
        expectSane(result);
      }),
      { seed: 31, numRuns: 10_000 },
    );
    // Both outcomes must have been seen, or the mutations are too tame or too wild.
    expect(read).toBeGreaterThan(1000);
    expect(read).toBeLessThan(9000);
  });

  test('refuses arbitrary bytes', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 400 }), (bytes) => {
        const result = parsed(bytes);
        if (result !== null) expectSane(result);
      }),
      { seed: 32, numRuns: 2000 },
    );
  });

  test('reads any number that JavaScript prints as the nearest double', () => {
    fc.assert(
      fc.property(fc.double({ noNaN: true, noDefaultInfinity: true, min: -1e20, max: 1e20 }), (x) => {
        const value = Math.abs(x) < 1e-100 ? 0 : x;
        const read = parsed(Buffer.from(`time_s,current_A\n0,${value}\n`))!;
        const { counts, scale } = read.channels[0]!.columns;
        expect(Number(scale[0] === 127 ? counts[0] : `${counts[0]}e${scale[0]}`)).toBe(
          value === 0 ? 0 : value,
        );
      }),
      { seed: 33, numRuns: 2000 },
    );
  });
});
