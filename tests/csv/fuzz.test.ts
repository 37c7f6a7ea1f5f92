import { readFileSync } from 'node:fs';
import path from 'node:path';
import { gzipSync } from 'node:zlib';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { outcomeOf, readWhole, type ReadCsv } from '../helpers/csv.ts';
import { slowCsv } from '../helpers/slowCsv.ts';

const vectors = JSON.parse(readFileSync(path.join(import.meta.dirname, '../vectors/csv.json'), 'utf8')) as {
  text: string;
  reads?: unknown;
}[];
const CHANNEL =
  '{""meterKey"":""file:m"",""meterName"":""M"",""driver"":""d"",""key"":""k"",""quantity"":""current"",""label"":""L"",""apertureMs"":null}';
const RECORDING = `"{""recording"":{""title"":""T"",""startedAt"":null,""zone"":null,""durationMs"":9,""provenance"":"""",""channels"":[${CHANNEL}]}}"`;
const GAP = '"{""gap"":{""channel"":0,""startMs"":1,""endMs"":2,""reason"":""dropped""}}"';
/** As exported, and with what it says of itself where no export would put it. */
const own = [
  `time_s,current_A,nightdraw\n0,1,${RECORDING}\n3,1,\n2,1,\n1,2,${GAP}\n5,3,\n`,
  `time_s,current_A,nightdraw\n0,1,\n3,1,\n2,1,\n1,2,${GAP}\n5,3,\n5,4,\n4,4,${RECORDING}\n`,
  `time_s,current_A,nightdraw\n1767651181,1,\n1767651182,1,\n,,${RECORDING}\n1767651183,2,\n`,
];
const texts = [...vectors.filter((v) => v.reads !== undefined).map((v) => v.text), ...own].map((text) =>
  Buffer.from(text),
);

/** What was read, or null where it was refused in the one permitted way. */
function parsed(bytes: Uint8Array): ReadCsv | null {
  const outcome = outcomeOf(() => readWhole(bytes, 'fuzz.csv', { blockRows: 16 }));
  return 'reason' in outcome ? null : outcome;
}

function expectSane(read: ReadCsv): void {
  for (const { t, counts, scale, flags } of read.channels) {
    expect([counts.length, scale.length, flags.length]).toEqual(Array(3).fill(t.length));
    expect(t.every(Number.isFinite) && counts.every(Number.isFinite)).toBe(true);
    expect(read.recording !== null || t.every((x, i) => i === 0 || x >= t[i - 1]!)).toBe(true);
  }
  expect(Number.isFinite(read.durationMs)).toBe(true);
}

/** The two quote a broken field in their own ways where it has quotes itself. */
function plain(outcome: ReturnType<typeof outcomeOf>) {
  return 'reason' in outcome ? { ...outcome, reason: outcome.reason.replace(/"+/g, '"') } : outcome;
}

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
      '#',
    ),
    fc.string({ maxLength: 4, unit: 'binary' }),
    fc.uint8Array({ maxLength: 2 }),
  ),
});
const mutated = fc
  .tuple(fc.constantFrom(...texts), fc.array(edit, { minLength: 1, maxLength: 4 }))
  .map(([text, edits]) =>
    edits.reduce((b, { at, remove, add }) => {
      const i = at % (b.length + 1);
      return Buffer.concat([b.subarray(0, i), Buffer.from(add as string), b.subarray(i + remove)]);
    }, text),
  );

describe('the CSV reader', () => {
  test('reads or refuses mutated files, and never does anything else', { timeout: 60_000 }, () => {
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

  test('gives what the slow reader gives, however the bytes come', { timeout: 120_000 }, () => {
    const cut = fc.record({
      piece: fc.integer({ min: 1, max: 40 }),
      blockRows: fc.integer({ min: 3, max: 6 }),
    });
    // Clocks that stand still, are late by less than half an interval or more, and are set back.
    const clocks = fc
      .array(fc.constantFrom(4, 4, 4, 4, 2, 0, -2, -6, -50), { minLength: 4, maxLength: 40 })
      .map((steps) => {
        let t = 0;
        const rows = steps.map((step, i) => `${(t += step)},${i},${i < 7 ? '' : i}`);
        return Buffer.from(`time_s,current_A,voltage_V\n${rows.join('\n')}`);
      });
    fc.assert(
      fc.property(fc.oneof(mutated, clocks), cut, fc.boolean(), (text, cut, packed) => {
        const bytes = packed ? gzipSync(text) : text;
        const slow = outcomeOf(() => slowCsv(bytes, 'fuzz.csv'));
        expect(plain(outcomeOf(() => readWhole(bytes, 'fuzz.csv', cut)))).toEqual(plain(slow));
      }),
      { seed: 34, numRuns: 4000 },
    );
  });

  test.each(own)('does so with an exported recording: %#', (text) => {
    const bytes = Buffer.from(text);
    const slow = slowCsv(bytes, 'own.csv');
    expect(slow.recording?.title).toBe('T');
    expect(slow.channels[0]!.t.length).toBeGreaterThan(2);
    for (const blockRows of [3, 4, 100])
      expect(readWhole(bytes, 'own.csv', { piece: 7, blockRows })).toEqual(slow);
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
        const { counts, scale } = read.channels[0]!;
        expect(Number(scale[0] === 127 ? counts[0] : `${counts[0]}e${scale[0]}`)).toBe(
          value === 0 ? 0 : value,
        );
      }),
      { seed: 33, numRuns: 2000 },
    );
  });
});
