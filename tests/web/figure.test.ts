import fc from 'fast-check';
import { expect, it } from 'vitest';
import { displayFigure, figureLine, NO_FIGURE, roundedFigure, shiftPoint } from '../../web/state/figure.ts';

it.each([
  ['0.0312', '31.2'],
  ['0.5', '500'],
  ['-0.0040', '-4.0'],
  ['0.000', '0'],
  ['12', '12000'],
  ['1.2345', '1234.5'],
])('moves the point of %s three places', (text, moved) => {
  expect(shiftPoint(text, 3)).toBe(moved);
});

it('loses and invents no digit when it moves the point', () => {
  fc.assert(
    fc.property(
      fc.integer({ min: -999_999, max: 999_999 }),
      fc.integer({ min: 0, max: 6 }),
      (counts, scale) => {
        const whole = String(Math.abs(counts)).padStart(scale + 1, '0');
        const text = `${counts < 0 ? '-' : ''}${whole.slice(0, whole.length - scale)}${scale > 0 ? `.${whole.slice(-scale)}` : ''}`;
        const moved = shiftPoint(text, 3);
        expect(Number(moved)).toBeCloseTo(Number(text) * 1000, 6);
        const after = moved.split('.')[1]?.length ?? 0;
        expect(after).toBe(Math.max(0, scale - 3));
      },
    ),
  );
});

it("shows the meter's own digits, small currents in milliamperes", () => {
  expect(displayFigure('voltage', '12.630')).toEqual({ digits: '12.630', unit: 'V' });
  expect(displayFigure('current', '0.0210')).toEqual({ digits: '21.0', unit: 'mA' });
  expect(displayFigure('current', '1.25')).toEqual({ digits: '1.25', unit: 'A' });
  expect(displayFigure('current', '-0.0210')).toEqual({ digits: '\u221221.0', unit: 'mA' });
});

it('shows what is no number as it is, and nothing as a dash', () => {
  expect(displayFigure('voltage', 'overload').digits).toBe('overload');
  expect(displayFigure('voltage', '').digits).toBe(NO_FIGURE);
  expect(figureLine(displayFigure('voltage', ''))).toBe(NO_FIGURE);
});

it('rounds computed values for reading', () => {
  expect(roundedFigure('current', 0.02134)).toEqual({ digits: '21.3', unit: 'mA' });
  expect(roundedFigure('current', 0.9999)).toEqual({ digits: '1.00', unit: 'A' });
  expect(roundedFigure('current', 0.00004)).toEqual({ digits: '0.04', unit: 'mA' });
  expect(roundedFigure('current', -0.000001)).toEqual({ digits: '0.00', unit: 'mA' });
  expect(roundedFigure('voltage', 12.3456)).toEqual({ digits: '12.346', unit: 'V' });
  expect(roundedFigure('voltage', null).digits).toBe(NO_FIGURE);
  expect(figureLine(roundedFigure('voltage', 12))).toBe('12.000\u00a0V');
});
