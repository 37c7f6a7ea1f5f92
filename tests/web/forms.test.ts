import { describe, expect, it } from 'vitest';
import { caseSchema, type Case } from '../../server/messages/records.ts';
import { batteryText, checkForm, EMPTY_CASE, formOf, readNumber } from '../../web/state/caseForm.ts';
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
  };

  it('becomes what the server takes', () => {
    expect(checkForm(filled)).toEqual({
      ok: true,
      input: {
        title: 'Estate car',
        plateOrVin: '',
        complaint: '',
        notes: '',
        battery: { role: 'auxiliary', chemistry: 'agm', capacityAh: 12.5 },
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
    expect(formOf(stored)).toEqual({ ...filled, title: 'Estate car', capacityAh: '12.5' });
    expect(batteryText(stored)).toBe('AGM, 12.5 Ah, auxiliary battery');
  });

  it('says at each field what is not right', () => {
    const bad = checkForm({
      ...filled,
      title: ' ',
      capacityAh: 'big',
      thresholdV: '-1',
      drawLimitMA: '999999',
    });
    expect(bad.ok).toBe(false);
    if (bad.ok) return;
    expect(Object.keys(bad.errors).sort()).toEqual(['capacityAh', 'drawLimitMA', 'thresholdV', 'title']);
  });

  it('keeps no battery of unknown type', () => {
    const checked = checkForm({ ...filled, chemistry: '', capacityAh: 'whatever' });
    expect(checked.ok && checked.input.battery).toBeNull();
  });
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
