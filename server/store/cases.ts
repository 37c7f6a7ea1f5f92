import type Database from 'better-sqlite3';
import { askedSchema, batterySchema, fobsSchema, mileageSchema } from '../messages/car.ts';
import { NightdrawError } from '../messages/errors.ts';
import { measuredThresholdSchema, type Case, type CaseInput } from '../messages/records.ts';
import { newId } from './ids.ts';
import type { Store } from './store.ts';

interface CaseRow {
  id: string;
  created_at: string;
  demo: number;
  title: string;
  plate_or_vin: string;
  complaint: string;
  notes: string;
  battery: string | null;
  threshold_v: number | null;
  draw_limit_a: number | null;
  measured_threshold: string | null;
  asked_by: string;
  mileage: string | null;
  fobs: string | null;
  asked: string | null;
  archived_at: string | null;
  deleted_at: string | null;
  recordings: number;
}

/** What a deleted case would have again is counted too. */
const SELECT = `SELECT c.*, (SELECT count(*) FROM recordings r WHERE r.case_id = c.id
  OR (r.former_case_id = c.id AND c.deleted_at IS NOT NULL)) AS recordings FROM cases c`;

interface Parses<T> {
  parse(value: unknown): T;
}
const read = <T>(text: string | null, schema: Parses<T>): T | null =>
  text === null ? null : schema.parse(JSON.parse(text));
const written = (value: object | null): string | null => (value === null ? null : JSON.stringify(value));

function caseOf(row: CaseRow): Case {
  return {
    id: row.id,
    createdAt: row.created_at,
    demo: row.demo === 1,
    recordings: row.recordings,
    title: row.title,
    plateOrVin: row.plate_or_vin,
    complaint: row.complaint,
    notes: row.notes,
    battery: read(row.battery, batterySchema),
    thresholdV: row.threshold_v,
    drawLimitA: row.draw_limit_a,
    askedBy: row.asked_by,
    mileage: read(row.mileage, mileageSchema),
    fobs: read(row.fobs, fobsSchema),
    asked: read(row.asked, askedSchema),
    ...(row.archived_at !== null && { archivedAt: row.archived_at }),
    ...(row.deleted_at !== null && { deletedAt: row.deleted_at }),
    ...(row.measured_threshold !== null && {
      measuredThreshold: measuredThresholdSchema.parse(JSON.parse(row.measured_threshold)),
    }),
  };
}

function columnsOf(input: CaseInput) {
  return {
    title: input.title,
    plateOrVin: input.plateOrVin,
    complaint: input.complaint,
    notes: input.notes,
    battery: written(input.battery),
    thresholdV: input.thresholdV,
    drawLimitA: input.drawLimitA,
    askedBy: input.askedBy,
    mileage: written(input.mileage),
    fobs: written(input.fobs),
    asked: written(input.asked),
  };
}

export function noCase(): NightdrawError {
  return new NightdrawError('not-found', 'There is no such case.');
}

type CaseMethods = Pick<
  Store,
  | 'createCase'
  | 'updateCase'
  | 'deleteCase'
  | 'restoreCase'
  | 'archiveCase'
  | 'getCase'
  | 'listCases'
  | 'listDeletedCases'
  | 'setMeasuredThreshold'
  | 'purge'
>;

export function caseMethods(db: Database.Database): CaseMethods {
  const insert = db.prepare(
    `INSERT INTO cases (id, created_at, demo, title, plate_or_vin, complaint, notes, battery, threshold_v, draw_limit_a,
       asked_by, mileage, fobs, asked)
     VALUES (@id, @createdAt, @demo, @title, @plateOrVin, @complaint, @notes, @battery, @thresholdV, @drawLimitA,
       @askedBy, @mileage, @fobs, @asked)`,
  );
  const update = db.prepare(
    `UPDATE cases SET title = @title, plate_or_vin = @plateOrVin, complaint = @complaint, notes = @notes,
       battery = @battery, threshold_v = @thresholdV, draw_limit_a = @drawLimitA, asked_by = @askedBy,
       mileage = @mileage, fobs = @fobs, asked = @asked WHERE id = @id AND deleted_at IS NULL`,
  );
  const measure = db.prepare('UPDATE cases SET measured_threshold = ? WHERE id = ? AND deleted_at IS NULL');
  const archive = db.prepare('UPDATE cases SET archived_at = ? WHERE id = ? AND deleted_at IS NULL');
  const remove = db.prepare('UPDATE cases SET deleted_at = ? WHERE id = ? AND deleted_at IS NULL');
  const restore = db.prepare('UPDATE cases SET deleted_at = NULL WHERE id = ? AND deleted_at IS NOT NULL');
  const letGo = db.prepare(
    'UPDATE recordings SET former_case_id = case_id, case_id = NULL WHERE case_id = ?',
  );
  const takeBack = db.prepare(
    'UPDATE recordings SET case_id = former_case_id, former_case_id = NULL WHERE former_case_id = ?',
  );
  const purges = ['cases', 'photos', 'notes'].map((table) =>
    db.prepare(`DELETE FROM ${table} WHERE deleted_at < ?`),
  );
  const one = db.prepare<[string], CaseRow>(`${SELECT} WHERE c.id = ? AND c.deleted_at IS NULL`);
  const all = db.prepare<[], CaseRow>(`${SELECT} WHERE c.deleted_at IS NULL ORDER BY c.seq DESC`);
  const deleted = db.prepare<[], CaseRow>(
    `${SELECT} WHERE c.deleted_at IS NOT NULL ORDER BY c.deleted_at DESC, c.seq DESC`,
  );

  const getCase = (id: string): Case => {
    const row = one.get(id);
    if (!row) throw noCase();
    return caseOf(row);
  };
  return {
    createCase(input, options) {
      const id = newId();
      const createdAt = new Date().toISOString();
      insert.run({ id, createdAt, demo: options?.demo ? 1 : 0, ...columnsOf(input) });
      return getCase(id);
    },
    updateCase(id, input) {
      if (update.run({ id, ...columnsOf(input) }).changes === 0) throw noCase();
      return getCase(id);
    },
    deleteCase: (id) =>
      db
        .transaction(() => {
          if (remove.run(new Date().toISOString(), id).changes === 0) throw noCase();
          letGo.run(id);
        })
        .immediate(),
    restoreCase: (id) =>
      db
        .transaction(() => {
          if (restore.run(id).changes > 0) takeBack.run(id);
          return getCase(id);
        })
        .immediate(),
    archiveCase(id, archived) {
      if (archive.run(archived ? new Date().toISOString() : null, id).changes === 0) throw noCase();
      return getCase(id);
    },
    setMeasuredThreshold(id, measured) {
      if (measure.run(written(measured), id).changes === 0) throw noCase();
      return getCase(id);
    },
    getCase,
    listCases: () => all.all().map(caseOf),
    listDeletedCases: () => deleted.all().map(caseOf),
    purge: (deletedBefore) =>
      db.transaction(() => purges.reduce((n, purge) => n + purge.run(deletedBefore).changes, 0)).immediate(),
  };
}
