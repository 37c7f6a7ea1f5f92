import type Database from 'better-sqlite3';
import { NightdrawError } from '../messages/errors.ts';
import { batterySchema, measuredThresholdSchema, type Case, type CaseInput } from '../messages/records.ts';
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
  recordings: number;
}

const SELECT = `SELECT c.*, (SELECT count(*) FROM recordings r WHERE r.case_id = c.id) AS recordings FROM cases c`;

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
    battery: row.battery === null ? null : batterySchema.parse(JSON.parse(row.battery)),
    thresholdV: row.threshold_v,
    drawLimitA: row.draw_limit_a,
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
    battery: input.battery === null ? null : JSON.stringify(input.battery),
    thresholdV: input.thresholdV,
    drawLimitA: input.drawLimitA,
  };
}

export function noCase(): NightdrawError {
  return new NightdrawError('not-found', 'There is no such case.');
}

type CaseMethods = Pick<
  Store,
  'createCase' | 'updateCase' | 'deleteCase' | 'getCase' | 'listCases' | 'setMeasuredThreshold'
>;

export function caseMethods(db: Database.Database): CaseMethods {
  const insert = db.prepare(
    `INSERT INTO cases (id, created_at, demo, title, plate_or_vin, complaint, notes, battery, threshold_v, draw_limit_a)
     VALUES (@id, @createdAt, @demo, @title, @plateOrVin, @complaint, @notes, @battery, @thresholdV, @drawLimitA)`,
  );
  const update = db.prepare(
    `UPDATE cases SET title = @title, plate_or_vin = @plateOrVin, complaint = @complaint, notes = @notes,
       battery = @battery, threshold_v = @thresholdV, draw_limit_a = @drawLimitA WHERE id = @id`,
  );
  const measure = db.prepare('UPDATE cases SET measured_threshold = ? WHERE id = ?');
  const remove = db.prepare('DELETE FROM cases WHERE id = ?');
  const one = db.prepare<[string], CaseRow>(`${SELECT} WHERE c.id = ?`);
  const all = db.prepare<[], CaseRow>(`${SELECT} ORDER BY c.seq DESC`);

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
    deleteCase(id) {
      if (remove.run(id).changes === 0) throw noCase();
    },
    setMeasuredThreshold(id, measured) {
      if (measure.run(measured === null ? null : JSON.stringify(measured), id).changes === 0) throw noCase();
      return getCase(id);
    },
    getCase,
    listCases: () => all.all().map(caseOf),
  };
}
