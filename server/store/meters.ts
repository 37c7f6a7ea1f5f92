import type Database from 'better-sqlite3';
import { NightdrawError } from '../messages/errors.ts';
import { meterRecordSchema } from '../messages/meterRecord.ts';
import { meterDescriptionSchema, type MeterDescription, type TaughtMeter } from '../messages/taughtMeters.ts';
import { heldZeroCheckListSchema, zeroCheckSchema } from '../messages/zeroCheck.ts';
import { newId } from './ids.ts';
import { noRecording } from './recordings.ts';
import type { Store } from './store.ts';

interface RecordRow {
  meter_key: string;
  changed_at: string;
  record: string;
}

interface TaughtRow {
  id: string;
  added_at: string;
  description: string;
}

type MeterMethods = Pick<
  Store,
  | 'listMeterRecords'
  | 'readMeterRecord'
  | 'writeMeterRecord'
  | 'listRecordedMeters'
  | 'listZeroChecks'
  | 'addZeroCheck'
  | 'listHeldZeroChecks'
  | 'holdZeroChecks'
  | 'listTaughtMeters'
  | 'addTaughtMeter'
  | 'deleteTaughtMeter'
>;

/** What is known of the meters themselves, and what a recording keeps of it. */
export function meterMethods(db: Database.Database): MeterMethods {
  const records = db.prepare<[], RecordRow>('SELECT * FROM meter_records ORDER BY meter_key');
  const record = db.prepare<[string], string>('SELECT record FROM meter_records WHERE meter_key = ?').pluck();
  const write = db.prepare(
    `INSERT INTO meter_records (meter_key, changed_at, record) VALUES (?, ?, ?)
     ON CONFLICT DO UPDATE SET changed_at = excluded.changed_at, record = excluded.record`,
  );
  const remove = db.prepare('DELETE FROM meter_records WHERE meter_key = ?');
  const recordingExists = db.prepare('SELECT 1 FROM recordings WHERE id = ?').pluck();
  const recorded = db.prepare<[string], Pick<RecordRow, 'meter_key' | 'record'>>(
    'SELECT meter_key, record FROM recorded_meters WHERE recording_id = ? ORDER BY meter_key',
  );
  const checks = db
    .prepare<[string], string>('SELECT zero_check FROM zero_checks WHERE recording_id = ? ORDER BY at_ms, id')
    .pluck();
  const addCheck = db.prepare('INSERT INTO zero_checks (recording_id, at_ms, zero_check) VALUES (?, ?, ?)');
  const held = db.prepare<[], string>('SELECT zero_checks FROM held_zero_checks ORDER BY meter_key').pluck();
  const hold = db.prepare(
    `INSERT INTO held_zero_checks (meter_key, zero_checks) VALUES (?, ?)
     ON CONFLICT DO UPDATE SET zero_checks = excluded.zero_checks`,
  );
  const letGo = db.prepare('DELETE FROM held_zero_checks WHERE meter_key = ?');
  const taught = db.prepare<[], TaughtRow>('SELECT * FROM taught_meters ORDER BY added_at, id');
  const addTaught = db.prepare('INSERT INTO taught_meters (id, added_at, description) VALUES (?, ?, ?)');
  const removeTaught = db.prepare('DELETE FROM taught_meters WHERE id = ?');

  const requireRecording = (id: string): void => {
    if (recordingExists.get(id) === undefined) throw noRecording();
  };
  const listTaughtMeters = (): TaughtMeter[] =>
    taught.all().map(({ id, added_at, description }) => ({
      id,
      addedAt: added_at,
      description: meterDescriptionSchema.parse(JSON.parse(description)),
    }));

  return {
    listMeterRecords: () =>
      records.all().map((row) => ({
        meterKey: row.meter_key,
        changedAt: row.changed_at,
        record: meterRecordSchema.parse(JSON.parse(row.record)),
      })),
    readMeterRecord(meterKey) {
      const text = record.get(meterKey);
      return text === undefined ? null : meterRecordSchema.parse(JSON.parse(text));
    },
    writeMeterRecord(meterKey, input) {
      if (input === null) remove.run(meterKey);
      else write.run(meterKey, new Date().toISOString(), JSON.stringify(input));
    },
    listRecordedMeters(recordingId) {
      requireRecording(recordingId);
      return recorded.all(recordingId).map((row) => ({
        meterKey: row.meter_key,
        record: meterRecordSchema.parse(JSON.parse(row.record)),
      }));
    },
    listZeroChecks(recordingId) {
      requireRecording(recordingId);
      return checks.all(recordingId).map((text) => zeroCheckSchema.parse(JSON.parse(text)));
    },
    addZeroCheck(recordingId, check) {
      requireRecording(recordingId);
      addCheck.run(recordingId, check.atMs, JSON.stringify(check));
    },
    listHeldZeroChecks: () => held.all().flatMap((text) => heldZeroCheckListSchema.parse(JSON.parse(text))),
    holdZeroChecks(meterKey, waiting) {
      if (waiting.length === 0) letGo.run(meterKey);
      else hold.run(meterKey, JSON.stringify(waiting));
    },
    listTaughtMeters,
    addTaughtMeter: (input: MeterDescription) =>
      db
        .transaction(() => {
          const description = meterDescriptionSchema.parse(input);
          const text = JSON.stringify(description);
          const same = listTaughtMeters().find((t) => JSON.stringify(t.description) === text);
          if (same !== undefined) return same;
          const kept = { id: newId(), addedAt: new Date().toISOString(), description };
          addTaught.run(kept.id, kept.addedAt, text);
          return kept;
        })
        .immediate(),
    deleteTaughtMeter(id) {
      if (removeTaught.run(id).changes === 0)
        throw new NightdrawError('not-found', 'There is no such meter description.');
    },
  };
}
