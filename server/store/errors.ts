import Database from 'better-sqlite3';
import { NightdrawError } from '../messages/errors.ts';

// SQLITE_IOERR_SHMSIZE: the write-ahead log's index could not grow, which only a full disk does.
const FULL = new Set(['SQLITE_FULL', 'SQLITE_IOERR_SHMSIZE']);

/** Turns whatever the database threw into the closed set; other errors pass through unchanged. */
export function storeError(error: unknown): unknown {
  if (!(error instanceof Database.SqliteError)) return error;
  const code = error.code;
  if (FULL.has(code)) return new NightdrawError('store-full');
  if (code.startsWith('SQLITE_BUSY') || code.startsWith('SQLITE_LOCKED'))
    return new NightdrawError(
      'store-failed',
      'Another program holds the database; wait for it to finish and try again.',
    );
  if (code.startsWith('SQLITE_READONLY') || code.startsWith('SQLITE_CANTOPEN') || code === 'SQLITE_PERM')
    return new NightdrawError(
      'store-failed',
      'The database cannot be opened for writing; check that the data folder exists and is yours to write.',
    );
  if (code === 'SQLITE_NOTADB')
    return new NightdrawError('store-failed', 'The database file is not a Nightdraw database.');
  return new NightdrawError(
    'store-failed',
    `The database could not be read or written (${code}: ${error.message}).`,
  );
}

/** Runs `work` and throws NightdrawError for every failure of the database. */
export function guarded<T>(work: () => T): T {
  try {
    return work();
  } catch (error) {
    throw storeError(error);
  }
}
