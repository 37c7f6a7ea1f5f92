import Database from 'better-sqlite3';
import { guarded } from './errors.ts';
import { APPLICATION_ID, MIGRATIONS } from './migrations.ts';

/**
 * Writes a copy of the database at `file`, as it is at one moment, to `copy`, which must not exist; whoever records
 * into it meanwhile goes on.
 * @throws NightdrawError store-failed, store-full
 */
export function copyDatabase(file: string, copy: string): void {
  guarded(() => {
    const db = new Database(file, { fileMustExist: true });
    try {
      db.prepare('VACUUM INTO ?').run(copy);
    } finally {
      db.close();
    }
  });
}

/** What is wrong with the database at `file`, in a sentence; null where it is whole and one that this version reads. */
export function faultOfDatabase(file: string): string | null {
  let db: Database.Database;
  try {
    db = new Database(file, { readonly: true, fileMustExist: true });
  } catch {
    return 'The database cannot be opened.';
  }
  try {
    const [owner, version] = ['application_id', 'user_version'].map((name) =>
      db.pragma(name, { simple: true }),
    ) as [number, number];
    if (owner !== APPLICATION_ID) return "The database is another program's.";
    if (version > MIGRATIONS.length) return 'The database was written by a newer Nightdraw.';
    const check = db.pragma('quick_check', { simple: true });
    return check === 'ok' ? null : 'The database is damaged.';
  } catch {
    return 'The database is damaged.';
  } finally {
    db.close();
  }
}
