import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import Database from 'better-sqlite3';
import { afterAll, expect, test } from 'vitest';
import { columnsOf } from '../../server/samples/columns.ts';
import { migrate, MIGRATIONS } from '../../server/store/migrations.ts';
import { openStore } from '../../server/store/openStore.ts';
import { encodeBlock } from '../helpers/oldBlock.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-migrate-'));
afterAll(() => rmSync(folder, { recursive: true }));

const part = (from: number, to: number) => {
  const t = Float64Array.from({ length: to - from }, (_, i) => (from + i) * 100.5);
  return columnsOf(
    t,
    t.map((x) => Math.round(x) % 97),
    new Int8Array(t.length).fill(-3),
    new Uint16Array(t.length),
  );
};

test('a database of version 1 keeps its samples, damage included, and goes on', () => {
  const file = path.join(folder, 'old.db');
  const db = new Database(file);
  migrate(db, MIGRATIONS.slice(0, 1));
  db.exec(`INSERT INTO recordings (id, kind, title, state, duration_ms, provenance)
             VALUES ('r23456789abc', 'overnight-test', 'Old', 'recording', 0, '');
           INSERT INTO channels (recording_id, meter_key, meter_name, driver, key, quantity, label, samples, last_ms)
             VALUES ('r23456789abc', 'm', 'M', 'd', 'a', 'current', 'A', 330, 0), ('r23456789abc', 'm', 'M', 'd', 'b', 'voltage', 'B', 100, 0);`);
  const block = (channel: number, from: number, to: number, bytes = encodeBlock(part(from, to))) =>
    db
      .prepare('INSERT INTO blocks (channel_id, count, from_ms, to_ms, bytes) VALUES (?, ?, ?, ?, ?)')
      .run(channel, to - from, from * 100.5, (to - 1) * 100.5, bytes);
  const tail = (channel: number, number: number, from: number, to: number) =>
    db
      .prepare('INSERT INTO tails VALUES (?, ?, ?, ?, ?, ?)')
      .run(channel, number, to - from, from * 100.5, (to - 1) * 100.5, encodeBlock(part(from, to)));
  block(1, 0, 100);
  block(2, 0, 100);
  block(1, 100, 200, encodeBlock(part(100, 200)).subarray(0, 60));
  block(1, 200, 300);
  tail(1, 1, 300, 310);
  tail(1, 2, 310, 330);
  db.close();

  const store = openStore(file);
  const id = 'r23456789abc';
  const [a, b] = store.getRecording(id).channels;
  expect([a!.samples, b!.samples]).toEqual([330, 100]);
  const places = (channel: number) => Array.from(store.readSamples(channel).t, (x) => x / 100.5);
  const range = (from: number, to: number) => Array.from({ length: to - from }, (_, i) => from + i);
  expect(places(1)).toEqual([...range(0, 100), ...range(200, 330)]);
  expect(store.readSamples(2)).toEqual(part(0, 100));
  expect(store.listGaps(id)).toEqual([
    { channelId: 1, startMs: 10_050, endMs: 199 * 100.5, reason: 'damaged' },
  ]);
  const step = { recordingId: id, gaps: [], events: [], batch: null };
  store.commit({ ...step, samples: [{ channelId: 1, columns: part(330, 9000) }] });
  store.stopRecording(id, 1);
  expect(places(1)).toEqual([...range(0, 100), ...range(200, 9000)]);
  store.close();
});
