import type Database from 'better-sqlite3';
import { NightdrawError } from '../messages/errors.ts';
import type { Gap, RecordingEvent } from '../messages/records.ts';
import { noRecording } from './recordings.ts';
import type { SampleTables } from './samples.ts';
import type { Commit, CommitResult, Store } from './store.ts';

interface GapRow {
  channel_id: number;
  start_ms: number;
  end_ms: number;
  reason: Gap['reason'];
}

interface EventRow {
  at_ms: number;
  kind: RecordingEvent['kind'];
  text: string;
  value: number | null;
}

export function noChannel(): NightdrawError {
  return new NightdrawError('not-found', 'The recording has no such channel.');
}

type CommitMethods = Pick<Store, 'commit' | 'lastBatch' | 'readSamples' | 'listGaps' | 'listEvents'>;

export function commitMethods(db: Database.Database, samples: SampleTables): CommitMethods {
  const exists = db.prepare('SELECT 1 FROM recordings WHERE id = ?').pluck();
  const channelIds = db
    .prepare<[string], number>('SELECT id FROM channels WHERE recording_id = ? ORDER BY id')
    .pluck();
  const channelExists = db.prepare('SELECT 1 FROM channels WHERE id = ?').pluck();
  const batch = db
    .prepare<[string, string], number>('SELECT number FROM batches WHERE recording_id = ? AND meter_key = ?')
    .pluck();
  const setBatch = db.prepare(
    `INSERT INTO batches (recording_id, meter_key, number) VALUES (?, ?, ?)
     ON CONFLICT DO UPDATE SET number = excluded.number`,
  );
  const insertGap = db.prepare(
    'INSERT INTO gaps (recording_id, channel_id, start_ms, end_ms, reason) VALUES (?, ?, ?, ?, ?)',
  );
  const insertEvent = db.prepare(
    'INSERT INTO events (recording_id, at_ms, kind, text, value) VALUES (?, ?, ?, ?, ?)',
  );
  const gaps = db.prepare<[string], GapRow>('SELECT * FROM gaps WHERE recording_id = ? ORDER BY id');
  const events = db.prepare<[string], EventRow>(
    'SELECT * FROM events WHERE recording_id = ? ORDER BY at_ms, id',
  );

  const requireRecording = (id: string): void => {
    if (exists.get(id) === undefined) throw noRecording();
  };
  const lastBatch = (recordingId: string, meterKey: string): number => batch.get(recordingId, meterKey) ?? 0;

  const commit = (step: Commit): CommitResult => {
    requireRecording(step.recordingId);
    if (step.batch !== null) {
      const upTo = lastBatch(step.recordingId, step.batch.meterKey);
      if (step.batch.number <= upTo) return { kind: 'duplicate', upTo };
      if (step.batch.number > upTo + 1) return { kind: 'out-of-order', expected: upTo + 1 };
      setBatch.run(step.recordingId, step.batch.meterKey, step.batch.number);
    }
    const known = new Set(channelIds.all(step.recordingId));
    for (const { channelId, columns } of step.samples) {
      if (!known.has(channelId)) throw noChannel();
      try {
        samples.append(channelId, columns);
      } catch (error) {
        if (error instanceof RangeError)
          throw new NightdrawError('bad-request', 'The samples hold a value that is not a finite number.');
        throw error;
      }
    }
    for (const gap of step.gaps) {
      if (!known.has(gap.channelId)) throw noChannel();
      insertGap.run(step.recordingId, gap.channelId, gap.startMs, gap.endMs, gap.reason);
    }
    for (const event of step.events)
      insertEvent.run(step.recordingId, event.atMs, event.kind, event.text, event.value);
    return { kind: 'stored' };
  };

  return {
    commit: (step) => db.transaction(commit).immediate(step),
    lastBatch,
    readSamples(channelId, fromMs = -Infinity, toMs = Infinity) {
      if (channelExists.get(channelId) === undefined) throw noChannel();
      return samples.read(channelId, fromMs, toMs);
    },
    listGaps(recordingId) {
      requireRecording(recordingId);
      const stored: Gap[] = gaps.all(recordingId).map((row) => ({
        channelId: row.channel_id,
        startMs: row.start_ms,
        endMs: row.end_ms,
        reason: row.reason,
      }));
      const damaged = channelIds.all(recordingId).flatMap((id) => samples.damaged(id));
      return [...stored, ...damaged].sort((a, b) => a.startMs - b.startMs);
    },
    listEvents(recordingId) {
      requireRecording(recordingId);
      return events
        .all(recordingId)
        .map((row) => ({ atMs: row.at_ms, kind: row.kind, text: row.text, value: row.value }));
    },
  };
}
