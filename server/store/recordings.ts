import type Database from 'better-sqlite3';
import { NightdrawError } from '../messages/errors.ts';
import type { Channel, ChannelInput, Recording } from '../messages/records.ts';
import { noCase } from './cases.ts';
import { newId } from './ids.ts';
import type { SampleTables } from './samples.ts';
import type { Store } from './store.ts';

interface RecordingRow {
  id: string;
  case_id: string | null;
  kind: Recording['kind'];
  title: string;
  state: Recording['state'];
  started_at: string | null;
  zone: string | null;
  duration_ms: number;
  provenance: string;
}

interface ChannelRow {
  id: number;
  meter_key: string;
  meter_name: string;
  driver: string;
  key: string;
  quantity: Channel['quantity'];
  label: string;
  aperture_ms: number | null;
  step: number | null;
  samples: number;
  last_ms: number;
}

function channelOf(row: ChannelRow, open: number): Channel {
  return {
    id: row.id,
    meterKey: row.meter_key,
    meterName: row.meter_name,
    driver: row.driver,
    key: row.key,
    quantity: row.quantity,
    label: row.label,
    apertureMs: row.aperture_ms,
    ...(row.step !== null && { step: row.step }),
    samples: row.samples + open,
  };
}

export function noRecording(): NightdrawError {
  return new NightdrawError('not-found', 'There is no such recording.');
}

type RecordingMethods = Pick<
  Store,
  | 'createRecording'
  | 'addChannel'
  | 'getRecording'
  | 'listRecordings'
  | 'unfinishedRecordings'
  | 'stopRecording'
  | 'moveRecording'
  | 'deleteRecording'
>;

export function recordingMethods(db: Database.Database, samples: SampleTables): RecordingMethods {
  const insert = db.prepare(
    `INSERT INTO recordings (id, case_id, kind, title, state, started_at, zone, duration_ms, provenance)
     VALUES (@id, @caseId, @kind, @title, @state, @startedAt, @zone, 0, @provenance)`,
  );
  const insertChannel = db.prepare(
    `INSERT INTO channels (recording_id, meter_key, meter_name, driver, key, quantity, label, aperture_ms, step)
     VALUES (@recordingId, @meterKey, @meterName, @driver, @key, @quantity, @label, @apertureMs, @step)`,
  );
  const insertMeter = db.prepare(
    'INSERT INTO recorded_meters (recording_id, meter_key, record) VALUES (?, ?, ?)',
  );
  const one = db.prepare<[string], RecordingRow>('SELECT * FROM recordings WHERE id = ?');
  const all = db.prepare<[], RecordingRow>('SELECT * FROM recordings ORDER BY seq DESC');
  const ofCase = db.prepare<[string], RecordingRow>(
    'SELECT * FROM recordings WHERE case_id = ? ORDER BY seq DESC',
  );
  const unfinished = db.prepare<[], RecordingRow>(
    `SELECT * FROM recordings WHERE state = 'recording' ORDER BY seq DESC`,
  );
  const channels = db.prepare<[string], ChannelRow>(
    'SELECT * FROM channels WHERE recording_id = ? ORDER BY id',
  );
  const caseExists = db.prepare('SELECT 1 FROM cases WHERE id = ? AND deleted_at IS NULL').pluck();
  const stop = db.prepare(`UPDATE recordings SET state = 'stopped', duration_ms = ? WHERE id = ?`);
  const move = db.prepare('UPDATE recordings SET case_id = ?, former_case_id = NULL WHERE id = ?');
  const remove = db.prepare('DELETE FROM recordings WHERE id = ?');

  const rowOf = (id: string): RecordingRow => {
    const row = one.get(id);
    if (!row) throw noRecording();
    return row;
  };
  const requireCase = (id: string | null): void => {
    if (id !== null && caseExists.get(id) === undefined) throw noCase();
  };
  // One transaction: another process must not fold the tail between channels and tail.
  const recordingOf = db.transaction((row: RecordingRow): Recording => {
    const rows = channels.all(row.id);
    const open = samples.tails.channelsOf(row.id);
    return {
      id: row.id,
      caseId: row.case_id,
      kind: row.kind,
      title: row.title,
      state: row.state,
      startedAt: row.started_at,
      zone: row.zone,
      // Late batches of a page may reach further than the moment of stopping.
      durationMs: rows.reduce(
        (latest, c) => Math.max(latest, c.last_ms, open.get(c.id)?.lastMs ?? 0),
        row.duration_ms,
      ),
      provenance: row.provenance,
      channels: rows.map((c) => channelOf(c, open.get(c.id)?.samples.length ?? 0)),
    };
  });
  const getRecording = (id: string): Recording => recordingOf(rowOf(id));

  const addChannel = (recordingId: string, input: ChannelInput): Channel => {
    const recording = getRecording(recordingId);
    if (recording.channels.some((c) => c.meterKey === input.meterKey && c.key === input.key))
      throw new NightdrawError('conflict', 'The recording has that channel already.');
    const { meterKey, meterName, driver, key, quantity, label, apertureMs, step = null } = input;
    const run = insertChannel.run({
      recordingId,
      meterKey,
      meterName,
      driver,
      key,
      quantity,
      label,
      apertureMs,
      step,
    });
    return { ...input, id: Number(run.lastInsertRowid), samples: 0 };
  };

  return {
    createRecording: (input) =>
      db.transaction(() => {
        requireCase(input.caseId);
        const id = newId();
        const { caseId, kind, title, state, startedAt, zone, provenance } = input;
        insert.run({ id, caseId, kind, title, state, startedAt, zone, provenance });
        for (const channel of input.channels) addChannel(id, channel);
        for (const { meterKey, record } of input.meters ?? [])
          insertMeter.run(id, meterKey, JSON.stringify(record));
        return getRecording(id);
      })(),
    addChannel: (recordingId, input) => db.transaction(addChannel)(recordingId, input),
    getRecording,
    listRecordings: (caseId) =>
      (caseId === undefined ? all.all() : ofCase.all(caseId)).map((row) => recordingOf(row)),
    unfinishedRecordings: () => unfinished.all().map((row) => recordingOf(row)),
    stopRecording: (id, durationMs) =>
      samples.undoing(() =>
        db
          .transaction(() => {
            if (rowOf(id).state === 'stopped')
              throw new NightdrawError('conflict', 'The recording is stopped already.');
            stop.run(durationMs, id);
            samples.closeAll(id);
            return getRecording(id);
          })
          .immediate(),
      ),
    moveRecording(id, caseId) {
      rowOf(id);
      requireCase(caseId);
      move.run(caseId, id);
      return getRecording(id);
    },
    deleteRecording(id) {
      if (rowOf(id).state === 'recording')
        throw new NightdrawError('conflict', 'The recording is still running; stop it first.');
      remove.run(id);
      samples.forgetRecording(id);
    },
  };
}
