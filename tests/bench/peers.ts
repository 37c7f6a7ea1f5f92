import { closeSync, existsSync, openSync, statSync, writeSync } from 'node:fs';
import path from 'node:path';
import Database from 'better-sqlite3';
import { DuckDBInstance, type DuckDBConnection } from '@duckdb/node-api';
import { ByteText } from '../../server/samples/byteText.ts';
import type { Ground } from './bench.ts';

/** The month as a plain CSV file with a header that both readers understand; made at the first call. */
export function csvMonth(ground: Ground, instants: number): string {
  const file = path.join(ground.folder, `month-${instants}.csv`);
  if (existsSync(file)) return file;
  const { t, current, voltage } = ground.month(instants);
  const handle = openSync(file, 'w');
  const out = new ByteText(1 << 18);
  out.ascii('time_s,current_A,voltage_V\n');
  for (let i = 0; i < instants; i++) {
    out.seconds(t[i]!);
    out.byte(0x2c);
    out.number(current[i]!, -3);
    out.byte(0x2c);
    out.number(voltage[i]!, -3);
    out.byte(0x0a);
    if (out.isFull) writeSync(handle, out.take());
  }
  writeSync(handle, out.take());
  closeSync(handle);
  return file;
}

/** Runs `work` on a DuckDB database (a file, or ':memory:') with as many threads as it likes. */
export async function withDuck<T>(
  file: string,
  work: (duck: DuckDBConnection) => Promise<T>,
  settings: Record<string, string> = {},
): Promise<T> {
  const instance = await DuckDBInstance.create(file, settings);
  const duck = await instance.connect();
  try {
    return await work(duck);
  } finally {
    duck.closeSync();
    instance.closeSync();
  }
}

/** How DuckDB reads the CSV: whole milliseconds, milliamperes and millivolts. */
export function duckSelect(csv: string): string {
  return `SELECT round(time_s * 1000)::BIGINT AS t, round(current_A * 1000)::INTEGER AS c,
    round(voltage_V * 1000)::INTEGER AS v FROM read_csv('${csv}')`;
}

export type RowShape = 'packed' | 'without rowid' | 'plain';

const SHAPES: Readonly<Record<RowShape, readonly string[]>> = {
  // One row an instant, its time as the key that SQLite stores anyway.
  packed: ['CREATE TABLE r (t INTEGER PRIMARY KEY, c INTEGER, v INTEGER)'],
  // One row a sample, clustered by channel and time.
  'without rowid': [
    'CREATE TABLE r (channel INTEGER, t REAL, value REAL, PRIMARY KEY (channel, t)) WITHOUT ROWID',
  ],
  // One row a sample and an index, as one would write it down first.
  plain: [
    'CREATE TABLE r (id INTEGER PRIMARY KEY, channel INTEGER, t REAL, value REAL)',
    'CREATE INDEX i ON r (channel, t)',
  ],
};

/** A database with one row a sample, written in transactions of so many instants. */
export function openRows(file: string, shape: RowShape) {
  const db = new Database(file);
  db.pragma('journal_mode = WAL');
  db.pragma('synchronous = FULL');
  for (const sql of SHAPES[shape]) db.exec(sql);
  const packed = db.prepare(
    shape === 'packed' ? 'INSERT OR IGNORE INTO r VALUES (?, ?, ?)' : 'SELECT 1 WHERE 0',
  );
  const wide = db.prepare(
    shape === 'packed'
      ? 'SELECT 1 WHERE 0'
      : `INSERT OR IGNORE INTO r (channel, t, value) VALUES (1, ?, ? / 1000.0), (2, ?, ? / 1000.0)`,
  );
  const insert = db.transaction((t: Float64Array, c: Float64Array, v: Float64Array) => {
    for (let i = 0; i < t.length; i++)
      if (shape === 'packed') packed.run(t[i], c[i], v[i]);
      else wide.run(t[i], c[i], t[i], v[i]);
  });
  return {
    db,
    insert,
    /** Closes it and tells the bytes of its file. */
    close(): number {
      db.pragma('wal_checkpoint(TRUNCATE)');
      db.close();
      return statSync(file).size;
    },
  };
}
