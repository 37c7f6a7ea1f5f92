import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import Database from 'better-sqlite3';
import { describe, expect, test } from 'vitest';
import { columnsOf } from '../../server/samples/columns.ts';
import { openStore, storeOn } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { codeOf, NIGHT, stepOf } from '../contract/store.ts';
import { smallDisk } from '../helpers/smallDisk.ts';

interface FullDisk {
  readonly store: Store;
  readonly reopen: () => Store;
  readonly makeRoom: () => void;
  readonly remove: () => void;
}

/** The database may have no more than so many pages; raising the limit is making room. */
function pageLimit(): FullDisk {
  const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-pages-'));
  const file = path.join(folder, 'nightdraw.db');
  openStore(file).close();
  const db = new Database(file);
  db.pragma('max_page_count = 60');
  return {
    store: storeOn(db),
    reopen: () => openStore(file),
    makeRoom: () => void db.pragma('max_page_count = 100000'),
    remove: () => rmSync(folder, { recursive: true }),
  };
}

const disk = smallDisk(12);

/** A real filesystem of 12 MiB, half of it taken by something else. */
function smallFilesystem(): FullDisk {
  if (typeof disk === 'string') throw new Error(disk);
  const ballast = path.join(disk.folder, 'ballast');
  writeFileSync(ballast, Buffer.alloc(6 << 20));
  const file = path.join(disk.folder, 'nightdraw.db');
  return {
    store: openStore(file),
    reopen: () => openStore(file),
    makeRoom: () => rmSync(ballast),
    remove: disk.remove,
  };
}

const ways: [string, () => FullDisk][] = [['a limit of pages', pageLimit]];
if (typeof disk === 'string')
  console.log(`No small filesystem here (${disk}); the page limit stands in for it.`);
else ways.push(['a small filesystem', smallFilesystem]);

const COMMIT = 200;

describe.each(ways)('a full disk (%s)', (_, fill) => {
  test('refuses in one word, keeps what it acknowledged, and goes on when there is room', () => {
    const { store, reopen, makeRoom, remove } = fill();
    try {
      const { id, channels } = store.createRecording(NIGHT);
      const channelId = channels[0]!.id;
      let acknowledged = 0;
      const commit = () => {
        const t = Float64Array.from({ length: COMMIT }, (_x, i) => acknowledged + i + 0.125);
        // Floats of no pattern, so that the disk fills quickly.
        const counts = t.map((x) => Math.sin(x * x));
        const scale = new Int8Array(COMMIT).fill(127);
        store.commit({
          ...stepOf(id, channelId, columnsOf(t, counts, scale, new Uint16Array(COMMIT))),
          batch: { meterKey: 'page:a', number: acknowledged / COMMIT + 1 },
        });
        acknowledged += COMMIT;
      };
      const intact = (s: Store) => {
        const { t, counts } = s.readSamples(channelId);
        expect(t.length).toBe(acknowledged);
        expect(t.every((x, i) => x === i + 0.125 && counts[i] === Math.sin(x * x))).toBe(true);
        expect(s.lastBatch(id, 'page:a')).toBe(acknowledged / COMMIT);
        expect(s.getRecording(id).channels[0]!.samples).toBe(acknowledged);
      };

      let code = 'done';
      for (let i = 0; i < 5000 && code === 'done'; i++) code = codeOf(commit);
      expect(code).toBe('store-full');
      expect(acknowledged).toBeGreaterThan(COMMIT * 10);
      intact(store);
      expect(codeOf(commit)).toBe('store-full');
      intact(store);

      makeRoom();
      for (let i = 0; i < 100; i++) commit();
      intact(store);
      store.close();
      const again = reopen();
      intact(again);
      again.close();
    } finally {
      store.close();
      remove();
    }
  });
});
