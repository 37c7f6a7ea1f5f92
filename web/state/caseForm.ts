import { caseInputSchema, type Case, type CaseInput } from '../../server/messages/records.ts';

/** What stands in the fields of the case form, as text. */
export interface CaseForm {
  readonly title: string;
  readonly plateOrVin: string;
  readonly complaint: string;
  readonly notes: string;
  /** Empty: not known. */
  readonly chemistry: '' | 'flooded' | 'efb' | 'agm' | 'gel';
  readonly role: 'main' | 'auxiliary';
  readonly capacityAh: string;
  readonly thresholdV: string;
  readonly drawLimitMA: string;
}

export const EMPTY_CASE: CaseForm = {
  title: '',
  plateOrVin: '',
  complaint: '',
  notes: '',
  chemistry: '',
  role: 'main',
  capacityAh: '',
  thresholdV: '',
  drawLimitMA: '',
};

export const CHEMISTRY_WORDS = {
  flooded: 'Wet (flooded)',
  efb: 'EFB',
  agm: 'AGM',
  gel: 'Gel',
} as const;

export type FormErrors = Readonly<Partial<Record<keyof CaseForm, string>>>;
export type CheckedForm =
  { readonly ok: true; readonly input: CaseInput } | { readonly ok: false; readonly errors: FormErrors };

export function formOf(c: Case): CaseForm {
  return {
    title: c.title,
    plateOrVin: c.plateOrVin,
    complaint: c.complaint,
    notes: c.notes,
    chemistry: c.battery?.chemistry ?? '',
    role: c.battery?.role ?? 'main',
    capacityAh: numberText(c.battery?.capacityAh ?? null),
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

/** The form as the server wants it, or one sentence for each field that is not right. */
export function checkForm(form: CaseForm): CheckedForm {
  const errors: Partial<Record<keyof CaseForm, string>> = {};
  const number = (field: 'capacityAh' | 'thresholdV' | 'drawLimitMA', most: number, unit: string) => {
    const n = readNumber(form[field]);
    if (n === null) return null;
    if (!(n > 0 && n <= most)) {
      errors[field] = `A number above 0 and up to ${most} ${unit}, or nothing.`;
      return null;
    }
    return n;
  };
  if (form.title.trim() === '') errors.title = 'Give the case a name, for example the car and the customer.';
  if (form.title.trim().length > 120) errors.title = 'At most 120 characters.';
  if (form.plateOrVin.trim().length > 120) errors.plateOrVin = 'At most 120 characters.';
  if (form.complaint.trim().length > 4000) errors.complaint = 'At most 4000 characters.';
  if (form.notes.trim().length > 4000) errors.notes = 'At most 4000 characters.';
  const capacityAh = form.chemistry === '' ? null : number('capacityAh', 1000, 'Ah');
  const thresholdV = number('thresholdV', 60, 'V');
  const limitMA = number('drawLimitMA', 100_000, 'mA');
  if (Object.keys(errors).length > 0) return { ok: false, errors };
  const parsed = caseInputSchema.safeParse({
    title: form.title,
    plateOrVin: form.plateOrVin,
    complaint: form.complaint,
    notes: form.notes,
    battery: form.chemistry === '' ? null : { role: form.role, chemistry: form.chemistry, capacityAh },
    thresholdV,
    drawLimitA: limitMA === null ? null : limitMA / 1000,
  });
  if (parsed.success) return { ok: true, input: parsed.data };
  return { ok: false, errors: { title: 'Something in this form is not accepted; shorten the texts.' } };
}

/** "AGM, 70 Ah, auxiliary battery", or null where nobody said. */
export function batteryText(c: Case): string | null {
  if (c.battery === null) return null;
  const { chemistry, capacityAh, role } = c.battery;
  const parts = [
    ...(chemistry === null ? [] : [CHEMISTRY_WORDS[chemistry]]),
    ...(capacityAh === null ? [] : [`${capacityAh} Ah`]),
  ];
  return `${parts.join(', ')}, ${role} battery`;
}
