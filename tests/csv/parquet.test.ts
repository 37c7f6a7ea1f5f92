import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { DuckDBInstance } from '@duckdb/node-api';
import fc from 'fast-check';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { isLive, valueOf } from '../../drivers/core/reading.ts';
import { exportParquet } from '../../server/capture/parquetExport.ts';
import { columnsOf, type SampleColumns } from '../../server/samples/columns.ts';
import type { Store } from '../../server/store/store.ts';
import { anyColumns } from '../helpers/columns.ts';
import { memoryStore } from '../helpers/memoryStore.ts';

let folder: string;
let store: Store;
let duck: DuckDBInstance;
beforeAll(async () => {
  folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-parquet-'));
  duck = await DuckDBInstance.create(':memory:');
});
afterAll(() => {
  duck.closeSync();
  rmSync(folder, { recursive: true });
});

function recorded(columns: readonly SampleColumns[]): string {
  store = memoryStore();
  const quantities = ['current', 'voltage', 'current'] as const;
  const { id, channels } = store.createRecording({
    caseId: null,
    kind: 'overnight-test',
    title: 'A night',
    startedAt: null,
    zone: null,
    provenance: '',
    state: 'recording',
    channels: columns.map((_, k) => ({
      meterKey: 'virtual:clamp',
      meterName: 'Clamp',
      driver: 'sig-electrical',
      key: `k${k}`,
      quantity: quantities[k % 3]!,
      label: '',
      apertureMs: null,
    })),
  });
  store.commit({
    recordingId: id,
    samples: columns.map((c, k) => ({ channelId: channels[k]!.id, columns: c })),
    gaps: [{ channelId: channels[0]!.id, startMs: 1, endMs: 2, reason: 'dropped' }],
    events: [{ atMs: 7, kind: 'note', text: 'said', value: null }],
    batch: null,
  });
  return id;
}

async function ask(sql: string): Promise<unknown[][]> {
  const connection = await duck.connect();
  try {
    return (await connection.runAndReadAll(sql)).getRows();
  } finally {
    connection.closeSync();
  }
}

function exported(id: string, groupRows?: number): string {
  const file = path.join(folder, 'night.parquet');
  writeFileSync(file, Buffer.concat([...exportParquet(store, id, groupRows)]));
  return `'${file}'`;
}

const bits = (x: unknown) => new BigUint64Array(Float64Array.of(x as number).buffer)[0]!;
const NAMES = ['current', 'voltage', 'current2'];
const UNITS = ['A', 'V', 'A'];

test('another program reads every sample, bit for bit', { timeout: 120_000 }, async () => {
  await fc.assert(
    fc.asyncProperty(
      fc.array(anyColumns(30), { minLength: 1, maxLength: 3 }),
      fc.integer({ min: 1, max: 40 }),
      async (columns, groupRows) => {
        const from = exported(recorded(columns), groupRows);
        for (const [k, c] of columns.entries()) {
          const name = NAMES[k]!;
          const own = [`"${name}_${UNITS[k]}"`, `${name}_counts`, `${name}_scale`, `${name}_flags`];
          const rows = await ask(
            `SELECT time_ms, ${own.join(', ')} FROM ${from} WHERE ${own[2]} IS NOT NULL`,
          );
          expect(rows).toHaveLength(c.length);
          rows.forEach(([t, value, counts, scale, flags], i) => {
            expect([bits(t), bits(counts), scale, flags]).toEqual([
              bits(c.t[i]),
              bits(c.counts[i]),
              c.scale[i],
              c.flags[i],
            ]);
            if (isLive(c.flags[i]!)) expect(bits(value)).toBe(bits(valueOf(c.counts[i]!, c.scale[i]!)));
            else expect(value).toBeNull();
          });
        }
      },
    ),
    { seed: 51, numRuns: 60 },
  );
});

test('columns have the types of the description, and the file says what it is', async () => {
  const small = columnsOf([0, 100, 250], [1, -2, 3], [-3, -3, -3], [0, 0, 1]);
  const large = columnsOf([100], [2 ** 31], [-3], [0]);
  const from = exported(recorded([small, large]));
  const types = await ask(`SELECT column_name, column_type FROM (DESCRIBE SELECT * FROM ${from})`);
  expect(types).toEqual([
    ['time_ms', 'DOUBLE'],
    ['current_A', 'DOUBLE'],
    ['current_counts', 'INTEGER'],
    ['current_scale', 'INTEGER'],
    ['current_flags', 'INTEGER'],
    ['voltage_V', 'DOUBLE'],
    ['voltage_counts', 'DOUBLE'],
    ['voltage_scale', 'INTEGER'],
    ['voltage_flags', 'INTEGER'],
  ]);
  expect(await ask(`SELECT time_ms, "current_A", voltage_V FROM ${from}`)).toEqual([
    [0, 0.001, null],
    [100, -0.002, 2147483.648],
    [250, null, null],
  ]);
  const about = await ask(
    `SELECT decode(value) FROM parquet_kv_metadata(${from}) WHERE decode(key) = 'nightdraw'`,
  );
  expect(JSON.parse(about[0]![0] as string)).toMatchObject({
    recording: { title: 'A night', channels: [{ key: 'k0' }, { key: 'k1' }] },
    notes: [
      { gap: { channel: 0, startMs: 1, endMs: 2, reason: 'dropped' } },
      { event: { atMs: 7, text: 'said' } },
    ],
  });
});

test('a recording without samples is a file without rows', async () => {
  const from = exported(recorded([columnsOf([], [], [], [])]));
  expect(await ask(`SELECT count(*)::INTEGER FROM ${from}`)).toEqual([[0]]);
});
