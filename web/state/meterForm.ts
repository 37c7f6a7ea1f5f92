import type { Quantity } from '../../drivers/core/reading.ts';
import { parseAccuracy } from '../../server/analysis/accuracy.ts';
import {
  certificateSchema,
  meterRecordSchema,
  querySchema,
  type Certificate,
  type CertificateLine,
  type MeterRecord,
  type RangeAccuracyLine,
} from '../../server/messages/meterRecord.ts';
import { readNumber } from './caseForm.ts';

/** One range of the data sheet, as text. */
export interface RangeForm {
  readonly quantity: Quantity;
  readonly upTo: string;
  /** As printed: "0.5 % + 3 digits". */
  readonly accuracy: string;
  readonly digit: string;
}

/** What the certificate states of one quantity, as text. */
export interface CertificateLineForm {
  readonly quantity: Quantity;
  readonly fixed: string;
  readonly percent: string;
  readonly k: string;
  readonly asFound: string;
  readonly asLeft: string;
}

/** What stands in the fields of a meter's record, as text. */
export interface MeterForm {
  readonly name: string;
  readonly maker: string;
  readonly model: string;
  readonly serial: string;
  readonly firmware: string;
  readonly apertureMs: string;
  readonly ratePerS: string;
  readonly ranges: readonly RangeForm[];
  readonly number: string;
  readonly date: string;
  readonly laboratory: string;
  readonly lines: readonly CertificateLineForm[];
  readonly queryText: string;
  readonly queryMs: string;
  /** Empty: the meter tells its unit. */
  readonly unitless: '' | Quantity;
}

export type MeterText = Exclude<keyof MeterForm, 'ranges' | 'lines' | 'unitless'>;
/** By field; those of a row as "ranges.0.upTo". */
export type MeterFormErrors = Readonly<Record<string, string>>;
export type CheckedMeter =
  | { readonly ok: true; readonly record: MeterRecord }
  | { readonly ok: false; readonly errors: MeterFormErrors };

export const emptyRange = (quantity: Quantity): RangeForm => ({
  quantity,
  upTo: '',
  accuracy: '',
  digit: '',
});
export const emptyLine = (quantity: Quantity): CertificateLineForm => ({
  quantity,
  fixed: '',
  percent: '',
  k: '2',
  asFound: '',
  asLeft: '',
});

const text = (n: number | null): string => (n === null ? '' : String(Number(n.toPrecision(9))));

export function meterFormOf(record: MeterRecord): MeterForm {
  const { calibration, query } = record;
  return {
    name: record.name,
    maker: record.maker,
    model: record.model,
    serial: record.serial,
    firmware: record.firmware,
    apertureMs: text(record.apertureMs),
    ratePerS: text(record.ratePerS),
    ranges: record.accuracy.map((r) => ({
      quantity: r.quantity,
      upTo: text(r.upTo),
      accuracy: `${text(r.percent)} % + ${text(r.digits)} digits`,
      digit: text(r.digit),
    })),
    number: calibration?.number ?? '',
    date: calibration?.date ?? '',
    laboratory: calibration?.laboratory ?? '',
    lines: (calibration?.lines ?? []).map((l) => ({
      ...l,
      fixed: text(l.fixed),
      percent: text(l.percent),
      k: text(l.k),
    })),
    queryText: query?.text ?? '',
    queryMs: text(query?.intervalMs ?? null),
    unitless: record.unitless ?? '',
  };
}

type Note = (field: string, sentence: string) => void;

/** The record as the server wants it, or one sentence for each field that is not right. Rows left empty are dropped. */
export function checkMeterForm(form: MeterForm): CheckedMeter {
  const errors: Record<string, string> = {};
  const note: Note = (field, sentence) => (errors[field] = sentence);
  for (const field of ['name', 'maker', 'model', 'serial', 'firmware', 'number', 'laboratory'] as const)
    if (form[field].trim().length > 120) note(field, 'At most 120 characters.');
  const raw: Record<keyof MeterRecord, unknown> = {
    name: form.name,
    maker: form.maker,
    model: form.model,
    serial: form.serial,
    firmware: form.firmware,
    accuracy: rangesOf(form.ranges, note),
    apertureMs: above(form.apertureMs, 60_000, 'ms', 'apertureMs', note),
    ratePerS: above(form.ratePerS, 100_000, 'a second', 'ratePerS', note),
    calibration: certificateOf(form, note),
    query: queryOf(form, note),
    unitless: form.unitless === '' ? null : form.unitless,
  };
  if (Object.keys(errors).length > 0) return { ok: false, errors };
  const parsed = meterRecordSchema.safeParse(raw);
  if (parsed.success) return { ok: true, record: parsed.data };
  return { ok: false, errors: { name: 'Something in this record is not accepted; look at its figures.' } };
}

/** A number above 0, or null where nothing is written. */
function above(written: string, most: number, unit: string, field: string, note: Note): number | null {
  const n = readNumber(written);
  if (n === null || (n > 0 && n <= most)) return n;
  note(field, `A number above 0 and up to ${most} ${unit}, or nothing.`);
  return null;
}

/** A number from `least` to `most`; `otherwise` where nothing is written. */
function within(
  written: string,
  [least, most]: readonly [number, number],
  otherwise: number,
  field: string,
  note: Note,
): number {
  const n = readNumber(written) ?? otherwise;
  if (n >= least && n <= most) return n;
  note(field, `A number from ${least} to ${most}, or nothing.`);
  return otherwise;
}

/** By quantity, then rising. */
function rangesOf(ranges: readonly RangeForm[], note: Note): RangeAccuracyLine[] {
  const lines = ranges.flatMap(({ quantity, upTo, accuracy, digit }, i): RangeAccuracyLine[] => {
    const at = `ranges.${i}`;
    if ([upTo, accuracy, digit].every((t) => t.trim() === '')) return [];
    const end = readNumber(upTo);
    const read = accuracy.length <= 40 ? parseAccuracy(accuracy) : null;
    const isRight = read !== null && read.percent <= 100 && read.digits <= 1000;
    if (end === null || !(end > 0 && end <= 1e6)) note(`${at}.upTo`, 'The end of the range, above 0.');
    if (!isRight) note(`${at}.accuracy`, 'Write percent and digits, for example 0.5 % + 3 digits.');
    const step = above(digit, 1e6, '', `${at}.digit`, note);
    return end === null || !isRight ? [] : [{ quantity, upTo: end, ...read, digit: step }];
  });
  return lines.sort((a, b) => a.quantity.localeCompare(b.quantity) || a.upTo - b.upTo);
}

/** Null where nothing is written of a certificate. */
function certificateOf(form: MeterForm, note: Note): Certificate | null {
  const lines = form.lines.flatMap((line, i): CertificateLine[] => {
    const { quantity, fixed, percent, k } = line;
    const [asFound, asLeft] = [line.asFound.trim(), line.asLeft.trim()];
    if ([fixed, percent, asFound, asLeft].every((t) => t.trim() === '')) return [];
    const at = `lines.${i}`;
    if (asFound.length > 120) note(`${at}.asFound`, 'At most 120 characters.');
    if (asLeft.length > 120) note(`${at}.asLeft`, 'At most 120 characters.');
    if (form.lines.slice(0, i).some((other) => other.quantity === quantity))
      note(`${at}.quantity`, 'There is a line for this already.');
    return [
      {
        quantity,
        fixed: within(fixed, [0, 1e6], 0, `${at}.fixed`, note),
        percent: within(percent, [0, 100], 0, `${at}.percent`, note),
        k: within(k, [1, 5], 2, `${at}.k`, note),
        asFound,
        asLeft,
      },
    ];
  });
  const [number, date, laboratory] = [form.number.trim(), form.date.trim(), form.laboratory.trim()];
  if (number === '' && date === '' && laboratory === '' && lines.length === 0) return null;
  if (number === '') note('number', 'The number that stands on the certificate.');
  if (!certificateSchema.shape.date.safeParse(date).success)
    note('date', 'Year, month and day, for example 2026-03-01.');
  return { number, date, laboratory, lines };
}

function queryOf({ queryText, queryMs }: MeterForm, note: Note): MeterRecord['query'] {
  if (queryText.trim() === '' && queryMs.trim() === '') return null;
  const intervalMs = readNumber(queryMs) ?? 500;
  if (!querySchema.shape.text.safeParse(queryText.trim()).success)
    note('queryText', 'Up to 60 letters, digits and signs of plain English text.');
  if (!querySchema.shape.intervalMs.safeParse(intervalMs).success)
    note('queryMs', 'A number from 20 to 60000 ms.');
  return { text: queryText.trim(), intervalMs };
}
