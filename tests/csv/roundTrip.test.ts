import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { exportCsv } from '../../server/capture/csvExport.ts';
import { importCsvFile } from '../../server/capture/import.ts';
import { nightInputOf } from '../../server/capture/nightInput.ts';
import { NightdrawError } from '../../server/messages/errors.ts';
import type { Recording } from '../../server/messages/records.ts';
import { columnsOf, emptyColumns, type SampleColumns } from '../../server/samples/columns.ts';
import { secondsText } from '../../server/samples/text.ts';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { codeOf } from '../contract/store.ts';
import { anyColumns } from '../helpers/columns.ts';
import { readWhole } from '../helpers/csv.ts';
import { memoryStore } from '../helpers/memoryStore.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-csv-'));
let store: Store;
beforeAll(() => (store = openStore(path.join(folder, 'nightdraw.db'))));
afterAll(() => {
  store.close();
  rmSync(folder, { recursive: true });
});

const bits = (c: SampleColumns) => [
  new BigUint64Array(c.t.slice().buffer),
  new BigUint64Array(c.counts.slice().buffer),
  c.scale,
  c.flags,
];

function again(id: string): Recording {
  const text = Buffer.concat([...exportCsv(store, id)]);
  return importCsvFile(store, text, { name: 'again.csv', caseId: null });
}

function record(
  columns: readonly SampleColumns[],
  quantities = ['current', 'voltage', 'temperature', 'current'] as const,
) {
  const { id, channels } = store.createRecording({
    caseId: null,
    kind: 'overnight-test',
    title: 'Estate, "second" night; rain',
    startedAt: '2026-01-05T21:13:01.500Z',
    zone: 'Europe/Berlin',
    provenance: 'Made by a test.\nTwo lines.',
    state: 'recording',
    channels: columns.map((_, k) => ({
      meterKey: 'virtual:clamp',
      meterName: 'Clamp, left',
      driver: 'sig-electrical',
      key: `k${k}`,
      quantity: quantities[k % 4]!,
      label: `Channel "${k}"`,
      apertureMs: k === 0 ? null : 250,
    })),
  });
  store.commit({
    recordingId: id,
    samples: columns.map((c, k) => ({ channelId: channels[k]!.id, columns: c })),
    gaps: channels
      .slice(0, 1)
      .map((c) => ({ channelId: c.id, startMs: 10.25, endMs: 5000, reason: 'dropped' })),
    events: [
      { atMs: 7, kind: 'attempt', text: 'Handle tried, "no answer"', value: null },
      { atMs: 3.5, kind: 'clock-step', text: 'back', value: -2000.125 },
    ],
    batch: null,
  });
  return store.stopRecording(id, 123_456.789);
}

describe('export and import', () => {
  test('give the same samples, bit for bit, and the same recording', { timeout: 60_000 }, () => {
    fc.assert(
      fc.property(fc.array(anyColumns(30), { minLength: 1, maxLength: 5 }), (columns) => {
        const first = record(columns);
        const second = again(first.id);
        second.channels.forEach((channel, k) =>
          expect(bits(store.readSamples(channel.id))).toEqual(bits(columns[k]!)),
        );
        expect(nightInputOf(store, second.id)).toEqual(nightInputOf(store, first.id));
        expect(store.listEvents(second.id)).toEqual(store.listEvents(first.id));
        const { id, caseId, kind, provenance, channels, ...same } = first;
        expect(second).toMatchObject(same);
        expect(second.provenance.startsWith(provenance)).toBe(true);
        expect(second.channels.map(({ id: _, ...c }) => c)).toEqual(channels.map(({ id: _, ...c }) => c));
        expect({ id, caseId, kind }).not.toEqual({ id: second.id, caseId: null, kind: second.kind });
        store.deleteRecording(first.id);
        store.deleteRecording(second.id);
      }),
      { seed: 11, numRuns: 150 },
    );
  });

  test('a recording without a single sample survives too', () => {
    const none = record([]);
    expect(again(none.id)).toMatchObject({ title: none.title, channels: [], durationMs: 123_456.789 });
    const silent = record([emptyColumns()]);
    expect(again(silent.id).channels).toMatchObject([{ samples: 0, key: 'k0' }]);
  });
});

/** Longer than what is read at a time, so that what the beginning made it look like was stored already. */
const LONG = 70_000;

test.each([
  ['a column that begins late', (i: number) => `${i},1,${i > 60_000 ? i : ''}`],
  ['a clock that is set back late', (i: number) => `${i > 60_000 ? i - 50_000 : i},1,2`],
  ['readings that arrive late', (i: number) => `${i === 60_000 ? i - 40_000.5 : i},${i},2`],
  ['a name in Windows-1252 at its end', (i: number) => (i === LONG - 1 ? '#\xfc' : `${i},1,2`)],
])('a long file with %s is one recording, the same as read at once', (_, line) => {
  const lines = Array.from({ length: LONG }, (_, i) => line(i));
  const bytes = Buffer.from(`time_s,current_A,voltage_V\n${lines.join('\n')}\n`, 'latin1');
  const before = store.listRecordings().length;
  const { id, channels, durationMs } = importCsvFile(store, bytes, { name: 'a.csv', caseId: null });
  expect(store.listRecordings()).toHaveLength(before + 1);
  const once = readWhole(bytes, 'a.csv', { blockRows: 2 * LONG });
  expect(channels.map((c) => c.quantity)).toEqual(['current', 'voltage']);
  channels.forEach((c, k) => {
    const { input: _, ...samples } = once.channels[k]!;
    const { t, counts, scale, flags } = store.readSamples(c.id);
    expect({ t: [...t], counts: [...counts], scale: [...scale], flags: [...flags] }).toEqual(samples);
  });
  expect(durationMs).toBe(once.durationMs);
  expect(store.listEvents(id)).toEqual(once.events);
  store.deleteRecording(id);
});

test('zero and minus zero are two times', () => {
  const columns = [columnsOf([0], [1], [0], [0]), columnsOf([-0], [2], [0], [0])];
  const { channels } = again(record(columns).id);
  channels.forEach((c, k) => expect(bits(store.readSamples(c.id))).toEqual(bits(columns[k]!)));
});

test('an import that the store cannot hold leaves nothing behind', () => {
  const memory = memoryStore();
  const full: Store = {
    ...memory,
    commit: () => {
      throw new NightdrawError('store-full');
    },
  };
  const bytes = new TextEncoder().encode('time_s,current_A\n0,1\n');
  expect(codeOf(() => importCsvFile(full, bytes, { name: 'a.csv', caseId: null }))).toBe('store-full');
  expect(memory.listRecordings()).toEqual([]);
});

test.each([
  [0, '0.000'],
  [100, '0.100'],
  [-100.5, '-0.1005'],
  [-0, '-0.000'],
  [43_200_000, '43200.000'],
  [0.1 + 0.2, '0.00030000000000000004'],
  [1e21, '1e18'],
  [5e-324, '5e-327'],
])('%d ms is %s s', (ms, text) => expect(secondsText(ms)).toBe(text));
