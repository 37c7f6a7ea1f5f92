import { describe, expect, it } from 'vitest';
import { meterRecordSchema } from '../../server/messages/meterRecord.ts';
import type { HeldZeroCheck } from '../../server/messages/zeroCheck.ts';
import {
  checkMeterForm,
  emptyLine,
  emptyRange,
  meterFormOf,
  type MeterForm,
} from '../../web/state/meterForm.ts';
import { lateRecordings, zeroCheckText } from '../../web/state/zeroCheck.ts';
import { sampleDetail } from './samples.ts';

const EMPTY = meterFormOf(meterRecordSchema.parse({}));
const RECORD = meterRecordSchema.parse({
  name: 'Clamp 2',
  serial: '4711',
  apertureMs: 250,
  ratePerS: 3,
  accuracy: [
    { quantity: 'current', upTo: 4, percent: 1.5, digits: 10, digit: 0.001 },
    { quantity: 'current', upTo: 40, percent: 2, digits: 5 },
    { quantity: 'voltage', upTo: 20, percent: 0.5, digits: 3 },
  ],
  calibration: {
    number: 'C-1',
    date: '2026-03-01',
    laboratory: 'Bench lab',
    lines: [
      { quantity: 'current', fixed: 0.01, percent: 0.5, k: 2, asFound: '+0.03 A at 1 A', asLeft: 'as found' },
    ],
  },
  query: { text: 'READ?', intervalMs: 250 },
  unitless: 'voltage',
});

const errorsOf = (form: MeterForm) => {
  const checked = checkMeterForm(form);
  return checked.ok ? {} : checked.errors;
};

describe('the record of a meter', () => {
  it('survives the way into the form and back', () => {
    expect(checkMeterForm(meterFormOf(RECORD))).toEqual({ ok: true, record: RECORD });
    expect(meterFormOf(RECORD).ranges[0]!.accuracy).toBe('1.5 % + 10 digits');
  });

  it('left empty is an empty record, rows that nobody filled in included', () => {
    const form = { ...EMPTY, ranges: [emptyRange('voltage')], lines: [emptyLine('current')] };
    expect(checkMeterForm(form)).toEqual({ ok: true, record: meterRecordSchema.parse({}) });
  });

  it('takes ranges as a data sheet prints them, in any order', () => {
    const range = (upTo: string, accuracy: string) => ({ ...emptyRange('current'), upTo, accuracy });
    const form = { ...EMPTY, ranges: [range('40', '±(2,5% + 5 dgt)'), range('4', '1 %')] };
    const checked = checkMeterForm(form);
    expect(checked.ok && checked.record.accuracy).toEqual([
      { quantity: 'current', upTo: 4, percent: 1, digits: 0, digit: null },
      { quantity: 'current', upTo: 40, percent: 2.5, digits: 5, digit: null },
    ]);
  });

  it('says of each field what cannot be read', () => {
    expect(
      errorsOf({
        ...EMPTY,
        apertureMs: 'fast',
        ranges: [{ ...emptyRange('current'), upTo: '-4', accuracy: 'good' }],
        date: '1.3.2026',
        lines: [{ ...emptyLine('current'), fixed: 'x', k: '9' }],
        queryText: 'Größe?',
        queryMs: '5',
      }),
    ).toEqual({
      apertureMs: 'A number above 0 and up to 60000 ms, or nothing.',
      'ranges.0.upTo': 'The end of the range, above 0.',
      'ranges.0.accuracy': 'Write percent and digits, for example 0.5 % + 3 digits.',
      number: 'The number that stands on the certificate.',
      date: 'Year, month and day, for example 2026-03-01.',
      'lines.0.fixed': 'A number from 0 to 1000000, or nothing.',
      'lines.0.k': 'A number from 1 to 5, or nothing.',
      queryText: 'Up to 60 letters, digits and signs of plain English text.',
      queryMs: 'A number from 20 to 60000 ms.',
    });
  });

  it('refuses two lines of the certificate for one quantity, and a date that no calendar has', () => {
    const line = { ...emptyLine('current'), fixed: '0.1' };
    const form = { ...EMPTY, number: 'C-1', date: '2026-02-30', lines: [line, line] };
    expect(Object.keys(errorsOf(form)).sort()).toEqual(['date', 'lines.1.quantity']);
  });

  it('asks a meter twice a second where nothing else is written', () => {
    const checked = checkMeterForm({ ...EMPTY, queryText: ' READ? ' });
    expect(checked.ok && checked.record.query).toEqual({ text: 'READ?', intervalMs: 500 });
  });
});

describe('a zero check', () => {
  const check: HeldZeroCheck = {
    meterKey: 'virtual:clamp',
    key: 'a.0',
    quantity: 'current',
    takenAt: '2026-11-25T20:00:00.000Z',
    durationMs: 5000,
    readings: 50,
    mean: -0.0123,
    scatter: 0.0012,
    standardUncertainty: 0.0003,
  };

  it('is shown with its spread', () => {
    expect(zeroCheckText(check).replaceAll('\u00a0', ' ')).toBe(
      'Zero of current \u221212.3 mA, spread 1.20 mA (50 readings)',
    );
  });

  it('may belong to a recording of the meter that ended within two hours', () => {
    const { recording } = sampleDetail();
    const { meterKey } = recording.channels[0]!;
    const endMs = Date.parse(recording.startedAt!) + recording.durationMs;
    const hour = 3_600_000;
    expect(lateRecordings([recording], meterKey, endMs + hour)).toEqual([recording]);
    expect(lateRecordings([recording], meterKey, endMs + 3 * hour)).toEqual([]);
    expect(lateRecordings([recording], 'server:other', endMs + hour)).toEqual([]);
    expect(lateRecordings([{ ...recording, state: 'recording' }], meterKey, endMs)).toEqual([]);
    expect(lateRecordings([{ ...recording, startedAt: null }], meterKey, endMs)).toEqual([]);
  });
});
