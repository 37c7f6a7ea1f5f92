import { describe, expect, it } from 'vitest';
import { caseSchema, type Case } from '../../server/messages/records.ts';
import { batteryText, caseFacts, explanationsOf, fobsText } from '../../web/state/caseFacts.ts';
import { checkForm, EMPTY_CASE, formOf, readNumber, readWhole } from '../../web/state/caseForm.ts';
import { draftKey, draftOver, draftText } from '../../web/state/drafts.ts';
import { checkOptions, EMPTY_OPTIONS } from '../../web/state/optionsForm.ts';

it.each([
  ['70,5', 70.5],
  [' 12.2 ', 12.2],
  ['.5', 0.5],
  ['-3', -3],
  ['', null],
])('reads %j as %s', (text, value) => {
  expect(readNumber(text)).toBe(value);
});

it.each(['12 V', '1e3', '1,2,3', '0x10', '-'])('does not take %j for a number', (text) => {
  expect(readNumber(text)).toBeNaN();
});

describe('the case form', () => {
  const filled = {
    ...EMPTY_CASE,
    title: '  Estate car  ',
    chemistry: 'agm' as const,
    role: 'auxiliary' as const,
    capacityAh: '12,5',
    thresholdV: '12.25',
    drawLimitMA: '35',
    ageYears: '4',
    place: 'boot' as const,
    askedBy: 'the desk',
    mileage: '123 456',
    mileageUnit: 'mi' as const,
    fobCount: '2',
    fobFailing: 'the older one',
    fobCell: 'weak' as const,
    fobCellV: '2,71',
    parkedDays: '12',
    answers: { 'fob-near': 'yes', weather: 'no', 'one-place': 'not-known' } as const,
    answerNotes: { 'fob-near': 'hall table' },
  };

  it('becomes what the server takes', () => {
    expect(checkForm(filled)).toEqual({
      ok: true,
      input: {
        title: 'Estate car',
        plateOrVin: '',
        complaint: '',
        notes: '',
        battery: { role: 'auxiliary', chemistry: 'agm', capacityAh: 12.5, ageYears: 4, place: 'boot' },
        askedBy: 'the desk',
        mileage: { value: 123456, unit: 'mi' },
        fobs: { count: 2, failing: 'the older one', cell: 'weak', cellV: 2.71 },
        asked: {
          parkedDays: 12,
          answers: {
            'fob-near': { answer: 'yes', note: 'hall table' },
            'one-place': { answer: 'not-known', note: '' },
            weather: { answer: 'no', note: '' },
          },
        },
        thresholdV: 12.25,
        drawLimitA: 0.035,
      },
    });
  });

  it('survives the way to the server and back', () => {
    const checked = checkForm(filled);
    if (!checked.ok) throw new Error('refused');
    const stored: Case = caseSchema.parse({
      ...checked.input,
      id: 'abcd',
      createdAt: '2025-03-04T21:00:00.000Z',
      demo: false,
      recordings: 0,
    });
    expect(formOf(stored)).toEqual({
      ...filled,
      title: 'Estate car',
      capacityAh: '12.5',
      mileage: '123456',
      fobCellV: '2.71',
    });
    expect(batteryText(stored)).toBe('Auxiliary battery: AGM, 12.5 Ah, 4 years old, boot');
    expect(fobsText(stored)).toBe('2 fobs; fails with the older one; cell weak, 2.71 V');
    expect(caseFacts(stored).map((f) => f.name)).toEqual([
      'Asked by',
      'Mileage',
      'Battery',
      'Fobs',
      'Unreliable below',
      'Draw limit',
    ]);
    const { may, ruledOut, open } = explanationsOf(stored);
    expect(may.map((m) => m.id)).toEqual(['parked', 'fob-near']);
    expect(may[1]!.what).toContain('Yes: hall table.');
    expect([ruledOut, open]).toEqual([1, 7]);
  });

  it('says at each field what is not right', () => {
    const bad = checkForm({
      ...filled,
      title: ' ',
      capacityAh: 'big',
      thresholdV: '-1',
      drawLimitMA: '999999',
      mileage: '12.5',
      ageYears: '41',
      fobCellV: '6',
    });
    expect(bad.ok).toBe(false);
    if (bad.ok) return;
    expect(Object.keys(bad.errors).sort()).toEqual([
      'ageYears',
      'capacityAh',
      'drawLimitMA',
      'fobCellV',
      'mileage',
      'thresholdV',
      'title',
    ]);
  });

  it('keeps what is known of a battery whose type is not', () => {
    const checked = checkForm({ ...filled, chemistry: '' });
    expect(checked.ok && checked.input.battery).toMatchObject({ chemistry: null, capacityAh: 12.5 });
    const nothing = checkForm({ ...EMPTY_CASE, title: 'x' });
    expect(nothing.ok && [nothing.input.battery, nothing.input.fobs, nothing.input.asked]).toEqual([
      null,
      null,
      null,
    ]);
  });

  it('keeps unsaved text, and only what has the right shape', () => {
    expect(draftText(filled, filled)).toBeNull();
    const text = draftText(filled, EMPTY_CASE);
    expect(draftOver(EMPTY_CASE, text)).toEqual(filled);
    expect(draftOver(EMPTY_CASE, '{"title":5,"complaint":"new","answers":[1],"other":"x"}')).toEqual({
      ...EMPTY_CASE,
      complaint: 'new',
    });
    for (const broken of [null, '{', '7', 'null', '[]']) expect(draftOver(filled, broken)).toEqual(filled);
    expect(draftKey(null)).not.toBe(draftKey('abcd'));
  });
});

it.each([
  ['123 456', 123456],
  ['1,234,567', 1234567],
  ['98.765', 98765],
  ['0', 0],
  ['', null],
])('reads a mileage %j as %s', (text, value) => {
  expect(readWhole(text)).toBe(value);
});

describe('the options of the analysis', () => {
  it('leave out what is empty', () => {
    expect(checkOptions(EMPTY_OPTIONS)).toEqual({ ok: true, options: {} });
  });

  it('turn milliamperes into amperes and keep the accuracy as printed', () => {
    const form = {
      ...EMPTY_OPTIONS,
      drawLimitMA: '50',
      meterAccuracy: '0,5 % + 3 digits',
      chemistry: 'gel' as const,
    };
    expect(checkOptions(form)).toEqual({
      ok: true,
      options: { drawLimitA: 0.05, meterAccuracy: '0,5 % + 3 digits', chemistry: 'gel' },
    });
  });

  it('refuse what makes no sense', () => {
    const form = { ...EMPTY_OPTIONS, temperatureC: '400', meterAccuracy: 'good', thresholdV: 'low' };
    const checked = checkOptions(form);
    expect(checked.ok).toBe(false);
    if (checked.ok) return;
    expect(Object.keys(checked.errors).sort()).toEqual(['meterAccuracy', 'temperatureC', 'thresholdV']);
  });
});
