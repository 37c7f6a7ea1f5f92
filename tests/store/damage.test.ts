import { closeSync, mkdtempSync, openSync, readFileSync, rmSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { columnsOf } from '../../server/samples/columns.ts';
import { openStore } from '../../server/store/openStore.ts';
import { NIGHT, stepOf } from '../contract/store.ts';
import { seeded } from '../helpers/seeded.ts';

let folder: string;
let file: string;
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-damage-'));
  file = path.join(folder, 'nightdraw.db');
});
afterEach(() => rmSync(folder, { recursive: true }));

const BLOCK = 8192;

/** Three closed blocks and a tail of three commits, one reading every 100 ms. */
function filled(): { id: string; channelId: number } {
  const store = openStore(file);
  const { id, channels } = store.createRecording(NIGHT);
  const channelId = channels[0]!.id;
  const random = seeded(5);
  const append = (from: number, to: number) => {
    const t = Float64Array.from({ length: to - from }, (_, i) => (from + i) * 100);
    // Random, so that a block is larger than a page of the database.
    const counts = t.map(() => Math.floor(random() * 1000));
    store.commit(
      stepOf(
        id,
        channelId,
        columnsOf(t, counts, new Int8Array(t.length).fill(-3), new Uint16Array(t.length)),
      ),
    );
  };
  append(0, 3 * BLOCK);
  for (let k = 0; k < 3; k++) append(3 * BLOCK + k * 10, 3 * BLOCK + (k + 1) * 10);
  store.close();
  return { id, channelId };
}

function sql(work: (db: Database.Database) => void): void {
  const db = new Database(file);
  work(db);
  db.close();
}

function readAgain(id: string, channelId: number) {
  const store = openStore(file);
  const { t } = store.readSamples(channelId);
  const gaps = store.listGaps(id);
  store.close();
  return { t: Array.from(t, (x) => x / 100), gaps };
}

const range = (from: number, to: number) => Array.from({ length: to - from }, (_, i) => from + i);
const lost = (channelId: number, from: number, to: number) => ({
  channelId,
  startMs: from * 100,
  endMs: (to - 1) * 100,
  reason: 'damaged',
});
const flipped = (bytes: Buffer) => {
  bytes[bytes.length >> 1]! ^= 0x10;
  return bytes;
};

describe('a damaged block', () => {
  test('costs its own time range and nothing else', () => {
    const { id, channelId } = filled();
    sql((db) => {
      const row = db.prepare('SELECT id, bytes FROM blocks ORDER BY id LIMIT 1 OFFSET 1').get();
      const { id: block, bytes } = row as { id: number; bytes: Buffer };
      db.prepare('UPDATE blocks SET bytes = ? WHERE id = ?').run(flipped(bytes), block);
    });
    const { t, gaps } = readAgain(id, channelId);
    expect(t).toEqual([...range(0, BLOCK), ...range(2 * BLOCK, 3 * BLOCK + 30)]);
    expect(gaps).toEqual([lost(channelId, BLOCK, 2 * BLOCK)]);
  });

  test('is found when it was cut short, and when it is empty', () => {
    const { id, channelId } = filled();
    sql((db) =>
      db.exec(`UPDATE blocks SET bytes = substr(bytes, 1, 100) WHERE id = 1;
               UPDATE blocks SET bytes = x'' WHERE id = 3;`),
    );
    const { t, gaps } = readAgain(id, channelId);
    expect(t).toEqual([...range(BLOCK, 2 * BLOCK), ...range(3 * BLOCK, 3 * BLOCK + 30)]);
    expect(gaps).toEqual([lost(channelId, 0, BLOCK), lost(channelId, 2 * BLOCK, 3 * BLOCK)]);
  });

  test('in the open tail stays known after the tail is folded', () => {
    const { id, channelId } = filled();
    sql((db) => {
      const bytes = db.prepare('SELECT bytes FROM tails WHERE id = 2').pluck().get() as Buffer;
      db.prepare('UPDATE tails SET bytes = ? WHERE id = 2').run(flipped(bytes));
    });
    const expected = [lost(channelId, 3 * BLOCK + 10, 3 * BLOCK + 20)];
    expect(readAgain(id, channelId).gaps).toEqual(expected);
    const store = openStore(file);
    const t = Float64Array.from({ length: BLOCK }, (_, i) => (3 * BLOCK + 30 + i) * 100);
    store.commit(stepOf(id, channelId, columnsOf(t, t, new Int8Array(BLOCK), new Uint16Array(BLOCK))));
    store.close();
    const { t: all, gaps } = readAgain(id, channelId);
    expect(gaps).toEqual(expected);
    expect(all).toEqual([...range(0, 3 * BLOCK + 10), ...range(3 * BLOCK + 20, 4 * BLOCK + 30)]);
  });

  /** Overwrites with zeros the page of the file that holds `needle`. */
  function zeroPage(needle: Buffer): void {
    const at = readFileSync(file).indexOf(needle);
    expect(at).toBeGreaterThan(0);
    const handle = openSync(file, 'r+');
    writeSync(handle, Buffer.alloc(4096), 0, 4096, Math.floor(at / 4096) * 4096);
    closeSync(handle);
  }

  const bytesOf = (block: number): Buffer => {
    let bytes: Buffer | null = null;
    sql((db) => {
      db.pragma('wal_checkpoint(TRUNCATE)');
      bytes = db.prepare('SELECT bytes FROM blocks WHERE id = ?').pluck().get(block) as Buffer;
    });
    return bytes!;
  };

  test('on the disk itself (a page of zeros) costs no more', () => {
    const { id, channelId } = filled();
    const bytes = bytesOf(2);
    zeroPage(bytes.subarray(bytes.length - 24)); // the checksum makes it unlike any other
    const { t, gaps } = readAgain(id, channelId);
    expect(gaps).toEqual([lost(channelId, BLOCK, 2 * BLOCK)]);
    expect(t).toEqual([...range(0, BLOCK), ...range(2 * BLOCK, 3 * BLOCK + 30)]);
  });

  test('where the database keeps its rows costs what lies on that page, and says so', () => {
    const { id, channelId } = filled();
    zeroPage(bytesOf(2).subarray(0, 28)); // the header, with its own span of time
    const { t, gaps } = readAgain(id, channelId);
    const gone = gaps.map((gap) => gap.startMs / 100 / BLOCK);
    expect(gone).toContain(1);
    expect(gone.length).toBeLessThan(3);
    expect(t).toEqual(
      [0, 1, 2]
        .filter((k) => !gone.includes(k))
        .flatMap((k) => range(k * BLOCK, (k + 1) * BLOCK))
        .concat(range(3 * BLOCK, 3 * BLOCK + 30)),
    );
    expect(gaps).toEqual(gone.map((k) => lost(channelId, k * BLOCK, (k + 1) * BLOCK)));
  });
});
