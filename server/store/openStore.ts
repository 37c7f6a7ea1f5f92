import { mkdirSync } from 'node:fs';
import path from 'node:path';
import Database from 'better-sqlite3';
import { NightdrawError } from '../messages/errors.ts';
import { paperMethods } from './casePapers.ts';
import { caseMethods } from './cases.ts';
import { commitMethods } from './commits.ts';
import { guarded } from './errors.ts';
import { handleMethods } from './handle.ts';
import { meterMethods } from './meters.ts';
import { migrate } from './migrations.ts';
import { recordingMethods } from './recordings.ts';
import { SampleTables } from './samples.ts';
import type { Store } from './store.ts';

/** How long a write waits for another process (a running server, an import) before it gives up. */
const BUSY_MS = 5000;

/**
 * Opens the database file at `file`, making it and its folder where they are missing.
 * @throws NightdrawError store-failed, store-full
 */
export function openStore(file: string): Store {
  makeFolder(path.dirname(file));
  return guarded(() => {
    const db = new Database(file, { timeout: BUSY_MS });
    try {
      return storeOn(db);
    } catch (error) {
      db.close();
      throw error;
    }
  });
}

function makeFolder(folder: string): void {
  try {
    mkdirSync(folder, { recursive: true });
  } catch {
    throw new NightdrawError('store-failed', `The data folder ${folder} cannot be made; choose another.`);
  }
}

/** The store on a connection that is open already; it closes it. */
export function storeOn(db: Database.Database): Store {
  db.pragma('journal_mode = WAL');
  // FULL: the log reaches the disk before a commit returns, so an acknowledged sample outlives a power cut.
  db.pragma('synchronous = FULL');
  db.pragma('foreign_keys = ON');
  migrate(db);
  const samples = new SampleTables(db);
  const store: Store = {
    ...caseMethods(db),
    ...paperMethods(db),
    ...recordingMethods(db, samples),
    ...commitMethods(db, samples),
    ...handleMethods(db),
    ...meterMethods(db),
    ...settingMethods(db),
    atomically: (work) => samples.undoing(() => db.transaction(work).immediate()),
    close: () => void db.close(),
  };
  return guardAll(store, () => db.open);
}

function settingMethods(db: Database.Database): Pick<Store, 'readSetting' | 'writeSetting'> {
  const read = db.prepare<[string], string>('SELECT value FROM settings WHERE key = ?').pluck();
  const write = db.prepare(
    'INSERT INTO settings (key, value) VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value',
  );
  return {
    readSetting: (key) => read.get(key) ?? null,
    writeSetting: (key, value) => void write.run(key, value),
  };
}

/** The same store with every method's database errors turned into NightdrawError. */
function guardAll(store: Store, isOpen: () => boolean): Store {
  const methods = Object.entries(store) as [keyof Store, (...args: unknown[]) => unknown][];
  return Object.fromEntries(
    methods.map(([name, method]) => [
      name,
      (...args: unknown[]) =>
        guarded(() => {
          if (!isOpen() && name !== 'close')
            throw new NightdrawError('store-failed', 'The database is closed.');
          return method(...args);
        }),
    ]),
  ) as unknown as Store;
}
