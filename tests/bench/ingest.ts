import { statSync } from 'node:fs';
import path from 'node:path';
import Database from 'better-sqlite3';
import { openStore, storeOn } from '../../server/store/openStore.ts';
import {
  instantsOf,
  target,
  timed,
  type Ground,
  type Row,
  type Table,
  type Target,
  type Topic,
} from './bench.ts';
import { month } from './month.ts';
import { openRows, type RowShape } from './peers.ts';
import { CHANNELS, newRecording, step, storedMonth } from './stored.ts';

/** How fast readings become durable, and what that writes to the disk. An instant is one reading of two channels. */
export const ingest: Topic = {
  name: 'ingest',
  run: (ground) => [speed(ground), wear(ground)],
};

const SHAPES = ['packed', 'without rowid', 'plain'] as const;
/** The writers take turns, so that a disk that others use at times is slow for all of them. */
const ROUNDS = 8;
const ROUND_MS = 400;

/** Instants a second on the wall, and a second of the processor. */
interface Rate {
  readonly wall: number;
  readonly processor: number;
}

/** Makes instants durable in one commit each time. */
interface Writer {
  commit(from: number, to: number): void;
  close(): void;
}

function speed(ground: Ground): Table {
  const bulk = storedMonth(ground, instantsOf(ground.days));
  const [few, many] = [10, 200].map((instants) => {
    const writers = [oursAt(ground, instants), ...SHAPES.map((shape) => rowsAt(ground, shape, instants))];
    return inTurns(ground, instants, writers);
  }) as [Rate[], Rate[]];
  const cells = (k: number, inBulk: number) => [
    few[k]!.wall,
    few[k]!.processor,
    many[k]!.wall,
    many[k]!.processor,
    inBulk,
  ];
  const ours = cells(0, instantsOf(ground.days) / bulk.seconds);
  const rows = SHAPES.map((shape, k): Row => ({
    name: `SQLite rows, ${shape}`,
    kind: 'peer',
    cells: cells(k + 1, rowsInBulk(ground, shape)),
    note: 'bulk: one day',
  }));
  const packed = rows[0]!.cells as number[];
  const times = (what: string, column: number, least: number): Target =>
    target(`${what}, by that of packed rows`, ours[column]! / packed[column]!, '>=', least, 'times');
  return {
    title: 'Durable ingest (WAL, synchronous FULL), instants a second',
    columns: ['10 a commit', 'of processor', '200 a commit', 'of processor', 'in bulk, of processor'],
    rows: [{ name: 'blocks', kind: 'ours', cells: ours, note: `bulk: ${ground.days} days` }, ...rows],
    targets: [
      target('10 a commit', ours[0]!, '>=', 30_000, 'instants/s'),
      target('200 a commit', ours[2]!, '>=', 500_000, 'instants/s'),
      target('bulk', ours[4]!, '>=', 5e6, 'instants/s'),
      // What these are to be beside rows on the machine of the targets: 25,000, 300,000 and 900,000 a second.
      times('10 a commit', 0, 30 / 25),
      times('200 a commit', 2, 500 / 300),
      times('bulk', 4, 5 / 0.9),
    ],
  };
}

/** Commits so many instants at a time, each writer for some tenths of a second by turns, at most a day of them. */
function inTurns(ground: Ground, instants: number, writers: readonly Writer[]): Rate[] {
  const whole = Math.min(instantsOf(ground.days), 864_000);
  const sums = writers.map(() => ({ done: 0, wall: 0, seconds: 0 }));
  for (let round = 0; round < ROUNDS; round++) {
    writers.forEach((writer, k) => {
      const sum = sums[k]!;
      const from = performance.now();
      const { wall, seconds } = timed(() => {
        while (performance.now() - from < ROUND_MS && sum.done + instants <= whole) {
          writer.commit(sum.done, sum.done + instants);
          sum.done += instants;
        }
      });
      sum.wall += wall;
      sum.seconds += seconds;
    });
  }
  for (const writer of writers) writer.close();
  return sums.map(({ done, wall, seconds }) => ({ wall: done / wall, processor: done / seconds }));
}

function oursAt(ground: Ground, instants: number): Writer {
  const all = ground.month(Math.min(instantsOf(ground.days), 864_000));
  const store = openStore(path.join(ground.folder, `ingest-${instants}`, 'nightdraw.db'));
  const recording = newRecording(store);
  return {
    commit: (from, to) => void store.commit(step(recording, all, from, to)),
    close: () => store.close(),
  };
}

function rowsAt(ground: Ground, shape: RowShape, instants: number): Writer {
  const { t, current, voltage } = ground.month(Math.min(instantsOf(ground.days), 864_000));
  const rows = openRows(path.join(ground.folder, `rows-${shape}-${instants}.db`), shape);
  return {
    commit: (from, to) =>
      rows.insert(t.subarray(from, to), current.subarray(from, to), voltage.subarray(from, to)),
    close: () => rows.close(),
  };
}

function rowsInBulk(ground: Ground, shape: RowShape): number {
  const { t, current, voltage } = ground.month(Math.min(instantsOf(ground.days), 864_000));
  const rows = openRows(path.join(ground.folder, `bulk-${shape}.db`), shape);
  const { seconds } = timed(() => rows.insert(t, current, voltage));
  rows.close();
  return t.length / seconds;
}

const MONTH_MS = 30 * 86_400_000;

/** Bytes that reach the log, at ten instants a second and a commit every so often. */
function wear(ground: Ground): Table {
  const rows = [250, 1000].map((everyMs): { everyMs: number; bytes: number } => ({
    everyMs,
    bytes: bytesACommit(ground, everyMs / 100),
  }));
  const fleet = fleetShare(ground);
  return {
    title: 'What a month of recording writes, and what 50 meters at 200 readings a second cost',
    columns: ['bytes a commit', 'GB a month', 'share of a core'],
    rows: [
      ...rows.map(({ everyMs, bytes }): Row => ({
        name: `one meter, a commit every ${everyMs} ms`,
        kind: 'ours',
        cells: [bytes, ((MONTH_MS / everyMs) * bytes) / 1e9, null],
      })),
      {
        name: '50 meters, 200 readings a second each, a commit every 250 ms',
        kind: 'ours',
        cells: [null, null, fleet],
      },
    ],
    targets: [
      target('written a commit', rows[0]!.bytes, '<=', 9216, 'bytes'),
      target('50 meters at 200/s', fleet, '<=', 0.5, 'of a core'),
    ],
  };
}

function bytesACommit(ground: Ground, instants: number): number {
  const file = path.join(ground.folder, `wear-${instants}.db`);
  const db = new Database(file);
  const store = storeOn(db);
  // The log keeps growing, so that its length is what was written.
  db.pragma('wal_autocheckpoint = 0');
  const commits = Math.ceil(20_000 / instants);
  const all = ground.month(Math.min(instantsOf(ground.days), 864_000));
  const recording = newRecording(store);
  const before = statSync(`${file}-wal`).size;
  for (let k = 0; k < commits; k++)
    store.commit(step(recording, all, Math.round(k * instants), Math.round((k + 1) * instants)));
  const bytes = (statSync(`${file}-wal`).size - before) / commits;
  store.close();
  return bytes;
}

function fleetShare(ground: Ground): number {
  const METERS = 50;
  const EACH = 50;
  const COMMITS = 120;
  const fast = month(EACH * COMMITS, 7, { intervalMs: 5, jitterMs: 8 });
  const store = openStore(path.join(ground.folder, 'fleet', 'nightdraw.db'));
  const channels = Array.from({ length: METERS }, (_, m) =>
    CHANNELS.map((c) => ({ ...c, meterKey: `file:bench-${m}` })),
  ).flat();
  const recording = newRecording(store, channels);
  const before = process.cpuUsage();
  for (let k = 0; k < COMMITS; k++) {
    const two = step(recording, fast, k * EACH, (k + 1) * EACH).samples.map((s) => s.columns);
    const samples = recording.channels.map((c, i) => ({ channelId: c.id, columns: two[i % 2]! }));
    store.commit({ recordingId: recording.id, samples, gaps: [], events: [], batch: null });
  }
  const { user, system } = process.cpuUsage(before);
  store.close();
  return (user + system) / 1e6 / (COMMITS * 0.25);
}
