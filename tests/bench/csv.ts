import { closeSync, openSync, statSync, writeSync } from 'node:fs';
import path from 'node:path';
import { exportCsv } from '../../server/capture/csvExport.ts';
import { importCsvFile } from '../../server/capture/import.ts';
import { exportParquet } from '../../server/capture/parquetExport.ts';
import { openStore } from '../../server/store/openStore.ts';
import { gzipFile } from './gzip.ts';
import { instantsOf, target, timed, timedAsync, type Ground, type Table, type Topic } from './bench.ts';
import { csvMonth, duckSelect, withDuck } from './peers.ts';
import { storedMonth } from './stored.ts';

/** A line costs the same on every day. */
const MOST_DAYS = 10;

/** Import and export, beside DuckDB on the same file. A line is one instant of current and voltage. */
export const csv: Topic = {
  name: 'csv',
  async run(ground) {
    return [await imports(ground), await exports(ground)];
  },
};

async function imports(ground: Ground): Promise<Table> {
  const lines = instantsOf(Math.min(ground.days, MOST_DAYS));
  const file = csvMonth(ground, lines);
  const packed = gzipFile(file);
  const store = openStore(path.join(ground.folder, 'import', 'nightdraw.db'));
  ground.say('  import');
  const plain = timed(() => importCsvFile(store, file, { caseId: null }));
  store.deleteRecording(plain.result.id);
  const gz = timed(() => importCsvFile(store, packed, { caseId: null }));
  store.close();
  const duck = (from: string) =>
    withDuck(
      path.join(ground.folder, 'import.duckdb'),
      async (db) => {
        const { seconds } = await timedAsync(async () => {
          await db.run(`CREATE OR REPLACE TABLE m AS ${duckSelect(from)}`);
          await db.run('CHECKPOINT');
        });
        return lines / seconds;
      },
      { threads: '1' },
    );
  ground.say('  the same by DuckDB');
  const rate = lines / plain.seconds;
  const coding = lines / storedMonth(ground, lines).seconds;
  return {
    title: `CSV import (${Math.round(statSync(file).size / 1e6)} MB), lines a second of the processor`,
    columns: ['plain', 'gzip'],
    rows: [
      { name: 'into durable blocks, one thread', kind: 'ours', cells: [rate, lines / gz.seconds] },
      {
        name: 'into a DuckDB table, one thread',
        kind: 'peer',
        cells: [await duck(file), await duck(packed)],
      },
      {
        name: 'coding these blocks alone, without reading the text',
        kind: 'limit',
        cells: [coding, null],
      },
    ],
    targets: [target('CSV import', rate, '>=', 2e6, 'lines/s')],
  };
}

async function exports(ground: Ground): Promise<Table> {
  const lines = instantsOf(Math.min(ground.days, MOST_DAYS));
  const { store, recording } = storedMonth(ground, lines);
  const written = (name: string, pieces: Iterable<Uint8Array>) => {
    const file = path.join(ground.folder, name);
    const handle = openSync(file, 'w');
    const { seconds } = timed(() => {
      for (const piece of pieces) for (let at = 0; at < piece.length;) at += writeSync(handle, piece, at);
    });
    closeSync(handle);
    return { rate: lines / seconds, size: statSync(file).size / lines };
  };
  ground.say('  export');
  const text = written('export.csv', exportCsv(store, recording.id));
  const parquet = written('export.parquet', exportParquet(store, recording.id));
  const duck = await withDuck(
    ':memory:',
    async (db) => {
      await db.run(`CREATE TABLE m AS ${duckSelect(csvMonth(ground, lines))}`);
      const copy = async (name: string, what: string) => {
        const file = path.join(ground.folder, name);
        const { seconds } = await timedAsync(() => db.run(`COPY (${what}) TO '${file}'`));
        return { rate: lines / seconds, size: statSync(file).size / lines };
      };
      const digits = `SELECT (t / 1000)::DECIMAL(12, 3), (c / 1000)::DECIMAL(9, 3), (v / 1000)::DECIMAL(9, 3) FROM m`;
      return { csv: await copy('duck.csv', digits), parquet: await copy('duck.parquet', 'SELECT * FROM m') };
    },
    { threads: '1' },
  );
  return {
    title: 'Export, instants a second of the processor',
    columns: ['CSV', 'bytes an instant', 'Parquet', 'bytes an instant'],
    rows: [
      {
        name: 'from stored blocks',
        kind: 'ours',
        cells: [text.rate, text.size, parquet.rate, parquet.size],
        note: 'Parquet with value, counts, scale and flags',
      },
      {
        name: 'from a DuckDB table in memory, one thread',
        kind: 'peer',
        cells: [duck.csv.rate, duck.csv.size, duck.parquet.rate, duck.parquet.size],
        note: 'Parquet with time and two integers',
      },
    ],
    targets: [target('CSV export', text.rate, '>=', 2e6, 'lines/s')],
  };
}
