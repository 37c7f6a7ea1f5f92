import type Database from 'better-sqlite3';
import { keptFuseWalkSchema } from '../messages/fuses.ts';
import { watchSettingsSchema } from '../messages/watch.ts';
import { noCase } from './cases.ts';
import { noRecording } from './recordings.ts';
import type { Store } from './store.ts';

type HandleMethods = Pick<Store, 'readFuseWalk' | 'writeFuseWalk' | 'readWatch' | 'writeWatch'>;

/** What hangs on a case or a recording as one document: the fuse walk, and what an overnight test watches for. */
export function handleMethods(db: Database.Database): HandleMethods {
  const caseExists = db.prepare('SELECT 1 FROM cases WHERE id = ? AND deleted_at IS NULL').pluck();
  const recordingExists = db.prepare('SELECT 1 FROM recordings WHERE id = ?').pluck();
  const walk = db.prepare<[string], string>('SELECT walk FROM fuse_walks WHERE case_id = ?').pluck();
  const keepWalk = db.prepare(
    `INSERT INTO fuse_walks (case_id, walk) VALUES (?, ?)
     ON CONFLICT DO UPDATE SET walk = excluded.walk`,
  );
  const watch = db.prepare<[string], string>('SELECT settings FROM watches WHERE recording_id = ?').pluck();
  const keepWatch = db.prepare(
    `INSERT INTO watches (recording_id, settings) VALUES (?, ?)
     ON CONFLICT DO UPDATE SET settings = excluded.settings`,
  );
  const dropWatch = db.prepare('DELETE FROM watches WHERE recording_id = ?');

  return {
    readFuseWalk(caseId) {
      if (caseExists.get(caseId) === undefined) throw noCase();
      const text = walk.get(caseId);
      return text === undefined ? null : keptFuseWalkSchema.parse(JSON.parse(text));
    },
    writeFuseWalk(caseId, kept) {
      if (caseExists.get(caseId) === undefined) throw noCase();
      keepWalk.run(caseId, JSON.stringify(kept));
    },
    readWatch(recordingId) {
      if (recordingExists.get(recordingId) === undefined) throw noRecording();
      const text = watch.get(recordingId);
      return text === undefined ? null : watchSettingsSchema.parse(JSON.parse(text));
    },
    writeWatch(recordingId, settings) {
      if (recordingExists.get(recordingId) === undefined) throw noRecording();
      if (settings === null) dropWatch.run(recordingId);
      else keepWatch.run(recordingId, JSON.stringify(settings));
    },
  };
}
