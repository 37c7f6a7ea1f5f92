import { describe, expect, it } from 'vitest';
import { sumFuseWalk } from '../../server/battery/fuseWalk.ts';
import { addFuseSchema, wholeDrawSchema, type FuseLine } from '../../server/messages/fuses.ts';
import { cautionsFor } from '../../web/state/cautions.ts';
import {
  balance,
  checkDrop,
  checkWhole,
  dropPreview,
  EMPTY_DROP,
  fuseRows,
  ratingsOf,
  readMillivolts,
  withKind,
} from '../../web/state/fuses.ts';
import { hashOf, placeOf, routeOf } from '../../web/state/route.ts';

describe('millivolts', () => {
  it.each([
    ['0.3', 0.3, 0.1],
    ['0,30', 0.3, 0.01],
    ['12', 12, 1],
    ['-1.60', -1.6, 0.01],
    ['\u22121.6', -1.6, 0.1],
  ])('%s keeps the last digit of the meter', (text, value, digit) => {
    const mv = readMillivolts(text)!;
    expect(mv.value).toBe(value);
    expect(mv.digit).toBeCloseTo(digit, 12);
  });

  it.each(['', 'one', '1e3', '5000', '1.2.3', '/3', '.5'])('%s is none', (text) => {
    expect(readMillivolts(text)).toBeNull();
  });

  it('become a current while they are typed', () => {
    const form = { ...EMPTY_DROP, millivolts: '1.6' };
    expect(dropPreview(form)).toMatch(/^210 mA ± 30 mA\. By standard blade fuse 10 A/);
    expect(dropPreview({ ...form, millivolts: '0.0' })).toMatch(
      /Not told apart from none: this circuit draws less than 15\.0 mA/,
    );
    expect(dropPreview({ ...form, millivolts: 'x' })).toBe('');
  });

  it('are sent as the server takes them, or not', () => {
    const checked = checkDrop({ ...EMPTY_DROP, place: ' F12 ', millivolts: '0,3' });
    expect(checked.ok && addFuseSchema.parse(checked.fuse)).toMatchObject({
      place: 'F12',
      measured: { millivolts: 0.3 },
    });
    const wrong = checkDrop(EMPTY_DROP);
    expect(wrong.ok ? [] : Object.keys(wrong.errors)).toEqual(['place', 'millivolts']);
  });

  it('need a kind that has the rating', () => {
    expect(withKind(EMPTY_DROP, 'mini')).toMatchObject({ kind: 'mini', rating: '15' });
    expect(withKind({ ...EMPTY_DROP, kind: 'mini', rating: '15' }, 'standard').rating).toBe('15');
    expect(ratingsOf('standard')).toContain('7.5');
  });
});

const base: Omit<FuseLine, 'id' | 'measured' | 'currentA'> = {
  place: 'F1',
  says: '',
  at: '2026-01-05T21:13:01.500Z',
};
const estimate = (value: number, expandedUncertainty = 0.002) => ({ value, expandedUncertainty });
const LINES: FuseLine[] = [
  { ...base, id: 'aaaa', place: 'F1', currentA: estimate(0.05), measured: { way: 'drop', kind: 'standard', rating: 10, millivolts: 0.4, digitMv: 0.01 } },
  { ...base, id: 'bbbb', place: 'F2', currentA: estimate(0.2), measured: { way: 'pull', recordingId: 'rec1', atS: 60, untilS: 90, beforeA: estimate(0.3), afterA: estimate(0.1), isFinal: true } },
  { ...base, id: 'cccc', place: 'F3', currentA: null, says: 'Being measured.', measured: { way: 'pull', recordingId: 'rec1', atS: 120, untilS: null, beforeA: null, afterA: null, isFinal: false } },
]; // prettier-ignore

describe('the walk', () => {
  it('shows what is out first, then the largest', () => {
    const rows = fuseRows(sumFuseWalk({ lines: LINES, clampA: estimate(0.4) }));
    expect(rows.map((r) => [r.place, r.figure, r.isOut])).toEqual([
      ['F3', 'being measured', true],
      ['F2', '200 mA ± 2 mA', false],
      ['F1', '50 mA ± 2 mA', false],
    ]);
    expect(rows.map((r) => r.share)).toEqual([null, 0.5, 0.125]);
    expect(rows[2]!.how).toBe('0.40 mV, standard 10 A');
    expect(rows[1]!.how).toBe('Pulled: 300 mA ± 2 mA before, 100 mA ± 2 mA after');
  });

  it('is weighed against the clamp', () => {
    const walk = sumFuseWalk({ lines: LINES, clampA: estimate(0.4) });
    expect(balance(walk).map(([, figure]) => figure)).toEqual([
      '400 mA ± 2 mA',
      '250 mA ± 3 mA',
      '150 mA ± 3 mA',
    ]);
    expect(balance(sumFuseWalk({ lines: [], clampA: null }))[0]![1]).toBe('not known yet');
  });

  it('takes a whole draw that was read by eye', () => {
    expect(wholeDrawSchema.parse(checkWhole('310', '5,5'))).toEqual({ amps: 0.31, uncertaintyA: 0.0055 });
    expect(checkWhole('much', '5')).toMatch(/Milliamperes/);
    expect(checkWhole('310', '')).toMatch(/may be off/);
  });

  it('has an address within its case, and its cautions', () => {
    const route = routeOf('#/cases/abcd1234/fuses');
    expect(route).toEqual({ page: 'fuses', caseId: 'abcd1234' });
    expect([hashOf(route), placeOf(route)]).toEqual(['#/cases/abcd1234/fuses', 'cases']);
    expect(cautionsFor('fuses').map((c) => c.id)).toEqual(
      expect.arrayContaining(['hybrid', 'high-voltage', 'pull', 'do-not-wake', 'probe']),
    );
    expect(cautionsFor('live').map((c) => c.id)).not.toContain('pull');
  });
});
