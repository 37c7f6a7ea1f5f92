import { readFileSync, statSync } from 'node:fs';
import path from 'node:path';
import { gzipSync } from 'node:zlib';
import Database from 'better-sqlite3';
import { openStore } from '../../server/store/openStore.ts';
import { instantsOf, target, type Ground, type Row, type Topic } from './bench.ts';
import { bitsOfCounts, bitsOfTimes } from './entropy.ts';
import type { Month } from './month.ts';
import { csvMonth, duckSelect, openRows, withDuck, type RowShape } from './peers.ts';
import { storeMonth, storedMonth } from './stored.ts';

/** How many bytes an instant (time, current, voltage) takes. */
export const size: Topic = {
  name: 'size',
  async run(ground) {
    const instants = instantsOf(ground.days);
    const { folder } = storedMonth(ground, instants);
    const ours = fileOf(folder) / instants;
    const ticks = ownTicks(ground);
    const limit = entropy(ground);
    const day = Math.min(instants, 864_000);
    const note = day < instants ? 'on one day' : '';
    const rows: Row[] = [
      { name: 'blocks and pyramid, the whole database', kind: 'ours', cells: [ours] },
      { name: 'the same, a meter that stamps its own ticks', kind: 'ours', cells: [ticks] },
      {
        name: 'entropy given clock and level',
        kind: 'limit',
        cells: [limit.times + limit.counts],
        note: 'order 0 given the context; in twelve stretches',
      },
      { name: 'the same without times', kind: 'limit', cells: [limit.counts] },
      ...(await duckRows(ground, instants)),
      {
        name: 'CSV and gzip',
        kind: 'peer',
        cells: [gzipSync(readFileSync(csvMonth(ground, day))).length / day],
        note,
      },
      ...(['packed', 'without rowid', 'plain'] as const).map((shape) => sqliteRow(ground, shape, day, note)),
    ];
    return [
      {
        title: 'Size of a month',
        columns: ['bytes an instant'],
        rows,
        targets: [
          target('size, pyramid included', ours, '<=', 1.2, 'bytes an instant'),
          target('size where the meter stamps its ticks', ticks, '<=', 0.55, 'bytes an instant'),
        ],
      },
    ];
  },
};

/** Bytes of the database once its log is folded into it. */
function fileOf(folder: string): number {
  const file = path.join(folder, 'nightdraw.db');
  const db = new Database(file);
  db.pragma('wal_checkpoint(TRUNCATE)');
  db.close();
  return statSync(file).size;
}

/** The readings of the month, stamped at each tenth of a second. */
function ownTicks(ground: Ground): number {
  const { current, voltage } = ground.month(instantsOf(ground.days));
  const folder = path.join(ground.folder, 'ticks');
  const store = openStore(path.join(folder, 'nightdraw.db'));
  storeMonth(store, { t: current.map((_, i) => i * 100), current, voltage });
  store.close();
  return fileOf(folder) / current.length;
}

function part({ t, current, voltage }: Month, from: number, length: number): Month {
  const of = (column: Float64Array) => column.subarray(from, from + length);
  return { t: of(t), current: of(current), voltage: of(voltage) };
}

/** Bytes of the times and of the counts of an instant, over stretches from all of the month. */
function entropy(ground: Ground): { readonly times: number; readonly counts: number } {
  const all = instantsOf(ground.days);
  const length = Math.floor(all / STRETCHES / 3);
  let [times, counts] = [0, 0];
  for (let k = 0; k < STRETCHES; k++) {
    const { t, current, voltage } = part(ground.month(all), Math.floor((k * all) / STRETCHES), length);
    times += bitsOfTimes(t);
    counts += bitsOfCounts(current) + bitsOfCounts(voltage);
  }
  return { times: times / STRETCHES / 8, counts: counts / STRETCHES / 8 };
}

const STRETCHES = 12;

async function duckRows(ground: Ground, instants: number): Promise<Row[]> {
  const csv = csvMonth(ground, instants);
  const table = path.join(ground.folder, 'size.duckdb');
  const parquet = path.join(ground.folder, 'size.parquet');
  ground.say('  the month into DuckDB and Parquet');
  await withDuck(table, async (duck) => {
    await duck.run(`CREATE TABLE m AS ${duckSelect(csv)}`);
    await duck.run(`COPY m TO '${parquet}' (FORMAT parquet, PARQUET_VERSION v2, COMPRESSION zstd)`);
    await duck.run('CHECKPOINT');
  });
  return [
    { name: 'Parquet v2, zstd (by DuckDB)', kind: 'peer', cells: [statSync(parquet).size / instants] },
    { name: 'table in DuckDB', kind: 'peer', cells: [statSync(table).size / instants] },
  ];
}

function sqliteRow(ground: Ground, shape: RowShape, instants: number, note: string): Row {
  const { t, current, voltage } = ground.month(instants);
  const rows = openRows(path.join(ground.folder, `size-${shape}.db`), shape);
  rows.insert(t, current, voltage);
  return { name: `SQLite rows, ${shape}`, kind: 'peer', cells: [rows.close() / instants], note };
}
