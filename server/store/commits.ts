import type Database from 'better-sqlite3';
import { NightdrawError } from '../messages/errors.ts';
import type { AttemptOutcome, Gap, RecordingEvent } from '../messages/records.ts';
import { joinColumns, type SampleColumns } from '../samples/columns.ts';
import { noRecording } from './recordings.ts';
import type { SampleTables } from './samples.ts';
import type { Commit, CommitResult, Store } from './store.ts';
import { zoom } from './zoom.ts';

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
  outcome: AttemptOutcome | null;
}

export function noChannel(): NightdrawError {
  return new NightdrawError('not-found', 'The recording has no such channel.');
}

type CommitMethods = Pick<
  Store,
  'commit' | 'commitAll' | 'lastBatch' | 'readSamples' | 'partsOf' | 'zoom' | 'listGaps' | 'listEvents'
>;

export function commitMethods(db: Database.Database, samples: SampleTables): CommitMethods {
  const exists = db.prepare('SELECT 1 FROM recordings WHERE id = ?').pluck();
  const recordingOf = db.prepare<[number], string>('SELECT recording_id FROM channels WHERE id = ?').pluck();
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
    'INSERT INTO events (recording_id, at_ms, kind, text, value, outcome) VALUES (?, ?, ?, ?, ?, ?)',
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
    const known = samples.metersOf(
      step.recordingId,
      [...step.samples, ...step.gaps].map((x) => x.channelId),
    );
    const byMeter = new Map<string, Map<number, SampleColumns>>();
    for (const { channelId, columns } of step.samples) {
      const meterKey = known.get(channelId);
      if (meterKey === undefined) throw noChannel();
      if (columns.length === 0) continue;
      let own = byMeter.get(meterKey);
      if (own === undefined) byMeter.set(meterKey, (own = new Map<number, SampleColumns>()));
      const before = own.get(channelId);
      own.set(channelId, before === undefined ? columns : joinColumns([before, columns]));
    }
    try {
      for (const [meterKey, own] of byMeter) samples.append(step.recordingId, meterKey, own);
    } catch (error) {
      if (error instanceof RangeError)
        throw new NightdrawError('bad-request', 'The samples hold a value that is not a finite number.');
      throw error;
    }
    for (const gap of step.gaps) {
      if (!known.has(gap.channelId)) throw noChannel();
      insertGap.run(step.recordingId, gap.channelId, gap.startMs, gap.endMs, gap.reason);
    }
    for (const { atMs, kind, text, value, outcome } of step.events)
      insertEvent.run(step.recordingId, atMs, kind, text, value, outcome ?? null);
    return { kind: 'stored' };
  };

  const durably = db.transaction((steps: readonly Commit[]) => steps.map(commit));

  const recordingWith = (channelId: number): string => {
    const id = recordingOf.get(channelId);
    if (id === undefined) throw noChannel();
    return id;
  };
  // One transaction: another process must not fold the tail between blocks and tail. The bytes are read after it,
  // because a transaction that met a damaged page cannot end.
  const partsOf = db.transaction((channelId: number, span: readonly [number, number], isAlone: boolean) =>
    samples.parts(recordingWith(channelId), channelId, span, isAlone),
  );

  const zoomed = db.transaction((channelIds: readonly number[]) =>
    channelIds.map((id) => samples.zoomed(recordingWith(id), id)),
  );

  return {
    commit: (step) => samples.undoing(() => durably.immediate([step]))[0]!,
    commitAll: (steps) => samples.undoing(() => durably.immediate(steps)),
    lastBatch,
    readSamples: (channelId, fromMs = -Infinity, toMs = Infinity) =>
      joinColumns([...partsOf(channelId, [fromMs, toMs], true)]),
    partsOf: (channelId) => partsOf(channelId, [-Infinity, Infinity], false),
    zoom: (channelIds, fromMs, toMs, buckets) =>
      zoom(samples.blocks, samples.pyramids, zoomed(channelIds), fromMs, toMs, buckets),
    listGaps(recordingId) {
      requireRecording(recordingId);
      const stored: Gap[] = gaps.all(recordingId).map((row) => ({
        channelId: row.channel_id,
        startMs: row.start_ms,
        endMs: row.end_ms,
        reason: row.reason,
      }));
      return [...stored, ...samples.damaged(recordingId)].sort((a, b) => a.startMs - b.startMs);
    },
    listEvents(recordingId) {
      requireRecording(recordingId);
      return events.all(recordingId).map(({ at_ms: atMs, kind, text, value, outcome }) => ({
        atMs,
        kind,
        text,
        value,
        ...(outcome !== null && { outcome }),
      }));
    },
  };
}
