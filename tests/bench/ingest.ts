import { statSync } from 'node:fs';
import path from 'node:path';
import Database from 'better-sqlite3';
import { openStore, storeOn } from '../../server/store/openStore.ts';
import { instantsOf, target, timed, type Ground, type Row, type Table, type Topic } from './bench.ts';
import { month } from './month.ts';
import { openRows } from './peers.ts';
import { CHANNELS, newRecording, step, storedMonth } from './stored.ts';

/** How fast readings become durable, and what that writes to the disk. An instant is one reading of two channels. */
export const ingest: Topic = {
  name: 'ingest',
  run: (ground) => [speed(ground), wear(ground)],
};

const SECONDS = 3;

/** Instants a second on the wall, and a second of the processor. */
interface Rate {
  readonly wall: number;
  readonly processor: number;
}

function speed(ground: Ground): Table {
  const bulk = storedMonth(ground, instantsOf(ground.days));
  const ours10 = oursAt(ground, 10);
  const ours200 = oursAt(ground, 200);
  const oursBulk = instantsOf(ground.days) / bulk.seconds;
  const rows = (['packed', 'without rowid', 'plain'] as const).map((shape): Row => {
    const [few, many] = [rowsAt(ground, shape, 10), rowsAt(ground, shape, 200)];
    return {
      name: `SQLite rows, ${shape}`,
      kind: 'peer',
      cells: [few.wall, few.processor, many.wall, many.processor, rowsInBulk(ground, shape)],
      note: 'bulk: one day',
    };
  });
  const packed = rows[0]!.cells as readonly [number, number, number, number, number];
  const cells = [ours10.wall, ours10.processor, ours200.wall, ours200.processor, oursBulk];
  return {
    title: 'Durable ingest (WAL, synchronous FULL), instants a second',
    columns: ['10 a commit', 'of processor', '200 a commit', 'of processor', 'in bulk, of processor'],
    rows: [{ name: 'blocks', kind: 'ours', cells, note: `bulk: ${ground.days} days` }, ...rows],
    targets: [
      target('10 a commit', ours10.wall, '>=', 30_000, 'instants/s'),
      target('200 a commit', ours200.wall, '>=', 500_000, 'instants/s'),
      target('bulk', oursBulk, '>=', 5e6, 'instants/s'),
      // What these are to be beside rows on the machine of the targets: 25,000, 300,000 and 900,000 a second.
      target('10 a commit, by that of packed rows', ours10.wall / packed[0], '>=', 30 / 25, 'times'),
      target('200 a commit, by that of packed rows', ours200.wall / packed[2], '>=', 500 / 300, 'times'),
      target('bulk, by that of packed rows', oursBulk / packed[4], '>=', 5 / 0.9, 'times'),
    ],
  };
}

/** Commits so many instants at a time for some seconds, at most a day of them. */
function repeated(ground: Ground, instants: number, commit: (from: number, to: number) => void): Rate {
  const whole = Math.min(instantsOf(ground.days), 864_000);
  let done = 0;
  const from = performance.now();
  const { wall, seconds } = timed(() => {
    while (performance.now() - from < SECONDS * 1000 && done + instants <= whole) {
      commit(done, done + instants);
      done += instants;
    }
  });
  return { wall: done / wall, processor: done / seconds };
}

function oursAt(ground: Ground, instants: number): Rate {
  const all = ground.month(Math.min(instantsOf(ground.days), 864_000));
  const store = openStore(path.join(ground.folder, `ingest-${instants}`, 'nightdraw.db'));
  const recording = newRecording(store);
  const rate = repeated(ground, instants, (from, to) => void store.commit(step(recording, all, from, to)));
  store.close();
  return rate;
}

function rowsAt(ground: Ground, shape: 'packed' | 'without rowid' | 'plain', instants: number): Rate {
  const { t, current, voltage } = ground.month(Math.min(instantsOf(ground.days), 864_000));
  const rows = openRows(path.join(ground.folder, `rows-${shape}-${instants}.db`), shape);
  const rate = repeated(ground, instants, (a, b) =>
    rows.insert(t.subarray(a, b), current.subarray(a, b), voltage.subarray(a, b)),
  );
  rows.close();
  return rate;
}

function rowsInBulk(ground: Ground, shape: 'packed' | 'without rowid' | 'plain'): number {
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
