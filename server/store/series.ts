import type Database from 'better-sqlite3';
import type { Outside } from './outside.ts';

/** Channels of one meter that share a column of times, in the order in which its blocks hold them. */
export interface Series {
  readonly id: number;
  readonly members: readonly number[];
}

export interface SeriesTable {
  /** The series of exactly these channels, made where it is missing. */
  idOf(recordingId: string, meterKey: string, members: readonly number[]): number;
  of(recordingId: string): Series[];
  /** All series that hold a channel. */
  with(channelId: number): Series[];
}

interface SeriesRow {
  id: number;
  members: string;
}

function seriesOf(row: SeriesRow): Series {
  return { id: row.id, members: JSON.parse(row.members) as number[] };
}

export function seriesTable(db: Database.Database, outside: Outside): SeriesTable {
  const find = db
    .prepare<[string, string, string], number>(
      'SELECT id FROM series WHERE recording_id = ? AND meter_key = ? AND members = ?',
    )
    .pluck();
  const insert = db.prepare('INSERT INTO series (recording_id, meter_key, members) VALUES (?, ?, ?)');
  const ofRecording = db.prepare<[string], SeriesRow>(
    'SELECT id, members FROM series WHERE recording_id = ? ORDER BY id',
  );
  const ofChannel = db.prepare<[number], SeriesRow>(
    `SELECT s.id, s.members FROM channels c
     JOIN series s ON s.recording_id = c.recording_id AND s.meter_key = c.meter_key
     WHERE c.id = ? ORDER BY s.id`,
  );
  const known = new Map<string, number>();
  let version = -1;
  return {
    idOf(recordingId, meterKey, members) {
      if (outside.version() !== version) known.clear();
      version = outside.version();
      const key = JSON.stringify(members);
      const name = `${recordingId} ${key}`;
      let id = known.get(name);
      if (id !== undefined) return id;
      id =
        find.get(recordingId, meterKey, key) ??
        Number(insert.run(recordingId, meterKey, key).lastInsertRowid);
      known.set(name, id);
      return id;
    },
    of: (recordingId) => ofRecording.all(recordingId).map(seriesOf),
    with: (channelId) =>
      ofChannel
        .all(channelId)
        .map(seriesOf)
        .filter((s) => s.members.includes(channelId)),
  };
}
