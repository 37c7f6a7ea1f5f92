import type { BATTERY_PLACES, FOB_CELLS } from '../../server/messages/car.ts';
import {
  EXPLANATIONS,
  type ANSWERS,
  type Asked,
  type Battery,
  type ExplanationId,
  type Fobs,
} from '../../server/messages/car.ts';
import { caseInputSchema, type Case, type CaseInput } from '../../server/messages/records.ts';

type Answer = (typeof ANSWERS)[number];

/** What stands in the fields of the case form, as text. */
export interface CaseForm {
  readonly title: string;
  readonly plateOrVin: string;
  readonly askedBy: string;
  readonly mileage: string;
  readonly mileageUnit: 'km' | 'mi';
  readonly complaint: string;
  readonly notes: string;
  /** Empty: not known. */
  readonly chemistry: '' | NonNullable<Battery['chemistry']>;
  readonly role: Battery['role'];
  readonly capacityAh: string;
  readonly ageYears: string;
  readonly place: '' | NonNullable<Battery['place']>;
  readonly fobCount: string;
  readonly fobFailing: string;
  readonly fobCell: Fobs['cell'];
  readonly fobCellV: string;
  readonly parkedDays: string;
  /** Absent: not asked yet. */
  readonly answers: Readonly<Partial<Record<ExplanationId, Answer>>>;
  readonly answerNotes: Readonly<Partial<Record<ExplanationId, string>>>;
  readonly thresholdV: string;
  readonly drawLimitMA: string;
}

/** The fields that hold a plain text. */
export type TextName = Exclude<
  keyof CaseForm,
  'mileageUnit' | 'chemistry' | 'role' | 'place' | 'fobCell' | 'answers' | 'answerNotes'
>;

export const EMPTY_CASE: CaseForm = {
  title: '',
  plateOrVin: '',
  askedBy: '',
  mileage: '',
  mileageUnit: 'km',
  complaint: '',
  notes: '',
  chemistry: '',
  role: 'main',
  capacityAh: '',
  ageYears: '',
  place: '',
  fobCount: '',
  fobFailing: '',
  fobCell: 'not-checked',
  fobCellV: '',
  parkedDays: '',
  answers: {},
  answerNotes: {},
  thresholdV: '',
  drawLimitMA: '',
};

export const CHEMISTRY_WORDS = { flooded: 'Wet (flooded)', efb: 'EFB', agm: 'AGM', gel: 'Gel' } as const;
export const PLACE_WORDS: Readonly<Record<(typeof BATTERY_PLACES)[number], string>> = {
  'engine-bay': 'Engine bay',
  boot: 'Boot',
  'under-seat': 'Under a seat',
  footwell: 'Footwell',
  elsewhere: 'Elsewhere',
};
export const CELL_WORDS: Readonly<Record<(typeof FOB_CELLS)[number], string>> = {
  'not-checked': 'Not checked',
  good: 'Good',
  weak: 'Weak',
  new: 'New today',
};

export type FormErrors = Readonly<Partial<Record<TextName, string>>>;
export type CheckedForm =
  { readonly ok: true; readonly input: CaseInput } | { readonly ok: false; readonly errors: FormErrors };

export function formOf(c: Case): CaseForm {
  const answers = Object.entries(c.asked?.answers ?? {});
  return {
    title: c.title,
    plateOrVin: c.plateOrVin,
    askedBy: c.askedBy,
    mileage: numberText(c.mileage?.value ?? null),
    mileageUnit: c.mileage?.unit ?? 'km',
    complaint: c.complaint,
    notes: c.notes,
    chemistry: c.battery?.chemistry ?? '',
    role: c.battery?.role ?? 'main',
    capacityAh: numberText(c.battery?.capacityAh ?? null),
    ageYears: numberText(c.battery?.ageYears ?? null),
    place: c.battery?.place ?? '',
    fobCount: numberText(c.fobs?.count ?? null),
    fobFailing: c.fobs?.failing ?? '',
    fobCell: c.fobs?.cell ?? 'not-checked',
    fobCellV: numberText(c.fobs?.cellV ?? null),
    parkedDays: numberText(c.asked?.parkedDays ?? null),
    answers: Object.fromEntries(answers.map(([id, a]) => [id, a.answer])),
    answerNotes: Object.fromEntries(answers.flatMap(([id, a]) => (a.note === '' ? [] : [[id, a.note]]))),
    thresholdV: numberText(c.thresholdV),
    drawLimitMA: numberText(c.drawLimitA === null ? null : c.drawLimitA * 1000),
  };
}

function numberText(n: number | null): string {
  return n === null ? '' : String(Number(n.toPrecision(9)));
}

/** A number as people write it, decimal comma allowed; null when empty, NaN when it is none. */
export function readNumber(text: string): number | null {
  const t = text.trim().replace(',', '.');
  if (t === '') return null;
  return /^-?\d+(\.\d*)?$|^-?\.\d+$/.test(t) ? Number(t) : NaN;
}

/** A whole number as a mileage is written: spaces, commas and dots between thousands are forgiven. */
export function readWhole(text: string): number | null {
  const t = text.trim().replace(/(?<=\d)[\s.,'](?=\d{3}(?!\d))/g, '');
  if (t === '') return null;
  return /^\d+$/.test(t) ? Number(t) : NaN;
}

const LENGTHS: readonly (readonly [TextName, number])[] = [
  ['title', 120],
  ['plateOrVin', 120],
  ['askedBy', 120],
  ['fobFailing', 120],
  ['complaint', 4000],
  ['notes', 4000],
];

/** The form as the server wants it, or one sentence for each field that is not right. */
export function checkForm(form: CaseForm): CheckedForm {
  const errors: Partial<Record<TextName, string>> = {};
  /** `above`: 0 itself is not allowed. */
  const number = (field: TextName, from: 'above' | 'from', most: number, unit: string): number | null => {
    const n = readNumber(form[field]);
    if (n === null) return null;
    if ((from === 'above' ? n > 0 : n >= 0) && n <= most) return n;
    errors[field] =
      from === 'above'
        ? `A number above 0 and up to ${most} ${unit}, or nothing.`
        : `A number from 0 to ${most} ${unit}, or nothing.`;
    return null;
  };
  const whole = (field: TextName, most: number): number | null => {
    const n = readWhole(form[field]);
    if (n === null || n <= most) return n;
    errors[field] = `A whole number from 0 to ${most}, or nothing.`;
    return null;
  };
  if (form.title.trim() === '') errors.title = 'Give the case a name, for example the car and the customer.';
  for (const [field, most] of LENGTHS)
    if (form[field].trim().length > most) errors[field] = `At most ${most} characters.`;
  const mileage = whole('mileage', 9_999_999);
  const battery = batteryOf(
    form,
    number('capacityAh', 'above', 1000, 'Ah'),
    number('ageYears', 'from', 40, 'years'),
  );
  const fobs: Fobs = {
    count: whole('fobCount', 20),
    failing: form.fobFailing.trim(),
    cell: form.fobCell,
    cellV: number('fobCellV', 'from', 5, 'V'),
  };
  const asked = askedOf(form, number('parkedDays', 'from', 3650, 'days'));
  const thresholdV = number('thresholdV', 'above', 60, 'V');
  const limitMA = number('drawLimitMA', 'above', 100_000, 'mA');
  if (Object.keys(errors).length > 0) return { ok: false, errors };
  const parsed = caseInputSchema.safeParse({
    title: form.title,
    plateOrVin: form.plateOrVin,
    askedBy: form.askedBy,
    mileage: mileage === null ? null : { value: mileage, unit: form.mileageUnit },
    complaint: form.complaint,
    notes: form.notes,
    battery,
    fobs: isSaid(fobs) ? fobs : null,
    asked,
    thresholdV,
    drawLimitA: limitMA === null ? null : limitMA / 1000,
  });
  if (parsed.success) return { ok: true, input: parsed.data };
  return { ok: false, errors: { title: 'Something in this form is not accepted; shorten the texts.' } };
}

/** Null where nothing is said beyond that it would be the main one. */
function batteryOf(form: CaseForm, capacityAh: number | null, ageYears: number | null): Battery | null {
  const { role, chemistry, place } = form;
  const said =
    role !== 'main' || chemistry !== '' || place !== '' || capacityAh !== null || ageYears !== null;
  if (!said) return null;
  return {
    role,
    chemistry: chemistry === '' ? null : chemistry,
    capacityAh,
    ageYears,
    place: place === '' ? null : place,
  };
}

function isSaid(fobs: Fobs): boolean {
  return fobs.count !== null || fobs.failing !== '' || fobs.cell !== 'not-checked' || fobs.cellV !== null;
}

function askedOf(form: CaseForm, parkedDays: number | null): Asked | null {
  const answers: Asked['answers'] = {};
  for (const { id } of EXPLANATIONS) {
    const answer = form.answers[id];
    if (answer !== undefined) answers[id] = { answer, note: (form.answerNotes[id] ?? '').slice(0, 120) };
  }
  return parkedDays === null && Object.keys(answers).length === 0 ? null : { parkedDays, answers };
}
