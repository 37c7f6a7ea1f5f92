import type Database from 'better-sqlite3';
import { NightdrawError } from '../messages/errors.ts';

/** "NDRW": marks the file as ours, so that another program's database is never changed. */
export const APPLICATION_ID = 0x4e445257;

/** Step n brings a database of version n to version n+1. Steps are never edited once released, only added. */
export const MIGRATIONS: readonly string[] = [
  `
  CREATE TABLE cases (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    demo INTEGER NOT NULL,
    title TEXT NOT NULL,
    plate_or_vin TEXT NOT NULL,
    complaint TEXT NOT NULL,
    notes TEXT NOT NULL,
    battery TEXT,
    threshold_v REAL,
    draw_limit_a REAL
  ) STRICT;

  CREATE TABLE recordings (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    case_id TEXT REFERENCES cases (id) ON DELETE SET NULL,
    kind TEXT NOT NULL,
    title TEXT NOT NULL,
    state TEXT NOT NULL,
    started_at TEXT,
    zone TEXT,
    duration_ms REAL NOT NULL,
    provenance TEXT NOT NULL
  ) STRICT;
  CREATE INDEX recordings_of_case ON recordings (case_id);

  CREATE TABLE channels (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    recording_id TEXT NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    meter_key TEXT NOT NULL,
    meter_name TEXT NOT NULL,
    driver TEXT NOT NULL,
    key TEXT NOT NULL,
    quantity TEXT NOT NULL,
    label TEXT NOT NULL,
    aperture_ms REAL,
    samples INTEGER NOT NULL DEFAULT 0,
    last_ms REAL NOT NULL DEFAULT 0,
    UNIQUE (recording_id, meter_key, key)
  ) STRICT;

  CREATE TABLE blocks (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    channel_id INTEGER NOT NULL REFERENCES channels (id) ON DELETE CASCADE,
    count INTEGER NOT NULL,
    from_ms REAL NOT NULL,
    to_ms REAL NOT NULL,
    bytes BLOB NOT NULL
  ) STRICT;
  CREATE INDEX blocks_of_channel ON blocks (channel_id);

  CREATE TABLE tails (
    channel_id INTEGER NOT NULL REFERENCES channels (id) ON DELETE CASCADE,
    number INTEGER NOT NULL,
    count INTEGER NOT NULL,
    from_ms REAL NOT NULL,
    to_ms REAL NOT NULL,
    bytes BLOB NOT NULL,
    PRIMARY KEY (channel_id, number)
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE batches (
    recording_id TEXT NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    meter_key TEXT NOT NULL,
    number INTEGER NOT NULL,
    PRIMARY KEY (recording_id, meter_key)
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE gaps (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    recording_id TEXT NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    channel_id INTEGER NOT NULL REFERENCES channels (id) ON DELETE CASCADE,
    start_ms REAL NOT NULL,
    end_ms REAL NOT NULL,
    reason TEXT NOT NULL
  ) STRICT;
  CREATE INDEX gaps_of_recording ON gaps (recording_id);
  CREATE INDEX gaps_of_channel ON gaps (channel_id);

  CREATE TABLE events (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    recording_id TEXT NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    at_ms REAL NOT NULL,
    kind TEXT NOT NULL,
    text TEXT NOT NULL,
    value REAL
  ) STRICT;
  CREATE INDEX events_of_recording ON events (recording_id);

  CREATE TABLE settings (
    key TEXT PRIMARY KEY,
    value TEXT NOT NULL
  ) STRICT, WITHOUT ROWID;
  `,
  // Channels of one meter share their times. Blocks of one channel stay as they are, each channel a series of its own.
  `
  CREATE TABLE series (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    recording_id TEXT NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    meter_key TEXT NOT NULL,
    members TEXT NOT NULL,
    UNIQUE (recording_id, meter_key, members)
  ) STRICT;
  INSERT INTO series (recording_id, meter_key, members)
    SELECT recording_id, meter_key, '[' || id || ']' FROM channels;

  ALTER TABLE blocks RENAME TO blocks_1;
  ALTER TABLE tails RENAME TO tails_1;
  DROP INDEX blocks_of_channel;

  CREATE TABLE blocks (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    series_id INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
    count INTEGER NOT NULL,
    from_ms REAL NOT NULL,
    to_ms REAL NOT NULL,
    pyramid BLOB,
    bytes BLOB NOT NULL
  ) STRICT;
  INSERT INTO blocks (id, series_id, count, from_ms, to_ms, bytes)
    SELECT b.id, s.id, b.count, b.from_ms, b.to_ms, b.bytes
    FROM blocks_1 b JOIN series s ON s.members = '[' || b.channel_id || ']' ORDER BY b.id;
  -- Holds all that is needed to say which span is lost where a block's own page is damaged.
  CREATE INDEX blocks_of_series ON blocks (series_id, id, count, from_ms, to_ms);

  CREATE TABLE tails (
    id INTEGER PRIMARY KEY,
    series_id INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
    count INTEGER NOT NULL,
    from_ms REAL NOT NULL,
    to_ms REAL NOT NULL,
    bytes BLOB NOT NULL
  ) STRICT;
  UPDATE channels SET samples = samples -
    (SELECT coalesce(sum(t.count), 0) FROM tails_1 t WHERE t.channel_id = channels.id);
  INSERT INTO tails (series_id, count, from_ms, to_ms, bytes)
    SELECT s.id, t.count, t.from_ms, t.to_ms, t.bytes
    FROM tails_1 t JOIN series s ON s.members = '[' || t.channel_id || ']' ORDER BY t.channel_id, t.number;

  DROP TABLE blocks_1;
  DROP TABLE tails_1;
  `,
  // Tries at the handle with their outcome, what a car's own tries showed, the fuse walk, what a test watches for.
  `
  ALTER TABLE events ADD COLUMN outcome TEXT;
  ALTER TABLE cases ADD COLUMN measured_threshold TEXT;
  CREATE TABLE fuse_walks (
    case_id TEXT PRIMARY KEY REFERENCES cases (id) ON DELETE CASCADE,
    walk TEXT NOT NULL
  ) STRICT, WITHOUT ROWID;
  CREATE TABLE watches (
    recording_id TEXT PRIMARY KEY REFERENCES recordings (id) ON DELETE CASCADE,
    settings TEXT NOT NULL
  ) STRICT, WITHOUT ROWID;
  `,
  // What is known of the meters themselves: their records, zero checks, and descriptions of taught ones.
  `
  CREATE TABLE meter_records (
    meter_key TEXT PRIMARY KEY,
    changed_at TEXT NOT NULL,
    record TEXT NOT NULL
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE recorded_meters (
    recording_id TEXT NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    meter_key TEXT NOT NULL,
    record TEXT NOT NULL,
    PRIMARY KEY (recording_id, meter_key)
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE zero_checks (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    recording_id TEXT NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    at_ms REAL NOT NULL,
    zero_check TEXT NOT NULL
  ) STRICT;
  CREATE INDEX zero_checks_of_recording ON zero_checks (recording_id);

  CREATE TABLE taught_meters (
    id TEXT PRIMARY KEY,
    added_at TEXT NOT NULL,
    description TEXT NOT NULL
  ) STRICT, WITHOUT ROWID;

  ALTER TABLE channels ADD COLUMN step REAL;
  `,
  // A case as a whole file: the car, photos, notes, the checklist of a recording; put aside, deleted, brought back.
  `
  ALTER TABLE cases ADD COLUMN asked_by TEXT NOT NULL DEFAULT '';
  ALTER TABLE cases ADD COLUMN mileage TEXT;
  ALTER TABLE cases ADD COLUMN fobs TEXT;
  ALTER TABLE cases ADD COLUMN asked TEXT;
  ALTER TABLE cases ADD COLUMN archived_at TEXT;
  ALTER TABLE cases ADD COLUMN deleted_at TEXT;
  ALTER TABLE recordings ADD COLUMN former_case_id TEXT REFERENCES cases (id) ON DELETE SET NULL;
  CREATE INDEX recordings_of_former_case ON recordings (former_case_id);

  CREATE TABLE photos (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    case_id TEXT NOT NULL REFERENCES cases (id) ON DELETE CASCADE,
    added_at TEXT NOT NULL,
    deleted_at TEXT,
    kind TEXT NOT NULL,
    caption TEXT NOT NULL,
    type TEXT NOT NULL,
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    sha256 TEXT NOT NULL,
    bytes BLOB NOT NULL
  ) STRICT;
  CREATE INDEX photos_of_case ON photos (case_id);

  CREATE TABLE notes (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    case_id TEXT NOT NULL REFERENCES cases (id) ON DELETE CASCADE,
    added_at TEXT NOT NULL,
    deleted_at TEXT,
    text TEXT NOT NULL
  ) STRICT;
  CREATE INDEX notes_of_case ON notes (case_id);

  CREATE TABLE checklists (
    recording_id TEXT PRIMARY KEY REFERENCES recordings (id) ON DELETE CASCADE,
    checklist TEXT NOT NULL
  ) STRICT, WITHOUT ROWID;
  `,
  // Zero checks that wait for the next recording of their meter.
  `
  CREATE TABLE held_zero_checks (
    meter_key TEXT PRIMARY KEY,
    zero_checks TEXT NOT NULL
  ) STRICT, WITHOUT ROWID;
  `,
];

/**
 * Brings the database to the newest version, each step in a transaction of its own.
 * @throws NightdrawError store-failed for a file that is another program's or a newer version's
 */
export function migrate(db: Database.Database, steps: readonly string[] = MIGRATIONS): void {
  const versionNow = () => db.pragma('user_version', { simple: true }) as number;
  const owner = db.pragma('application_id', { simple: true }) as number;
  const tables = db.prepare('SELECT count(*) FROM sqlite_schema').pluck().get() as number;
  if (owner !== APPLICATION_ID && (owner !== 0 || tables > 0))
    throw new NightdrawError('store-failed', 'The database file belongs to another program.');
  if (versionNow() > steps.length)
    throw new NightdrawError(
      'store-failed',
      'The database was written by a newer Nightdraw; use that version or another data folder.',
    );
  while (versionNow() < steps.length) {
    db.transaction(() => {
      // Read again under the lock: another process may have migrated meanwhile.
      const version = versionNow();
      if (version >= steps.length) return;
      db.exec(steps[version]!);
      db.pragma(`application_id = ${APPLICATION_ID}`);
      db.pragma(`user_version = ${version + 1}`);
    }).immediate();
  }
}
