import { describe, expect, it } from 'vitest';
import { FLAG } from '../../drivers/core/reading.ts';
import { parseDisplay, unitText, type Glance } from '../../drivers/teach/display.ts';

function shown(text: string): Glance {
  const glance = parseDisplay(text);
  if (typeof glance === 'string') throw new Error(glance);
  return glance;
}

describe('display text', () => {
  it.each([
    ['12.63 V', 1263, 2, 4, 'V', false],
    ['-0.025 A', 25, 3, 4, 'A', true],
    ['25.6 mA', 256, 1, 3, 'mA', false],
    ['−25,6 mA', 256, 1, 3, 'mA', true],
    ['+ 12.63V', 1263, 2, 4, 'V', false],
    ['  - 025.6   mA ', 256, 1, 4, 'mA', true],
    ['380 µA', 380, 0, 3, 'µA', false], // micro sign
    ['380 μA', 380, 0, 3, 'µA', false], // Greek mu
    ['380uA', 380, 0, 3, 'µA', false],
    ['.5 V', 5, 1, 1, 'V', false],
    ['1.203 kΩ', 1203, 3, 4, 'kΩ', false],
    ['21.4 °C', 214, 1, 3, '°C', false],
  ])('%s', (text, counts, decimals, digits, unit, negative) => {
    expect(shown(text)).toMatchObject({ counts, decimals, digits, negative, overload: false, flags: 0 });
    expect(unitText(shown(text).unit!)).toBe(unit);
  });

  it('needs no unit', () => {
    expect(shown('0.000')).toMatchObject({ counts: 0, decimals: 3, digits: 4, unit: null });
  });

  it.each(['OL', '0L', 'O.L', '0.L V', 'ol mA', '-OL', 'OL.'])('%s is over-range', (text) => {
    expect(shown(text)).toMatchObject({ overload: true, negative: text.startsWith('-') });
  });

  it.each([
    ['12.63 V HOLD', FLAG.hold],
    ['12.63 hold V', FLAG.hold],
    ['12.63 V AC', FLAG.ac],
    ['12.63 VAC', FLAG.ac],
    ['12.63 V~', FLAG.ac],
    ['12.63 VDC', 0],
    ['12.63 V DC AUTO', 0],
    ['1.2 mA REL', FLAG.relative],
    ['1.2 mA MAX HOLD', FLAG.minMax | FLAG.hold],
  ])('%s', (text, flags) => {
    expect(shown(text).flags).toBe(flags);
  });

  it('keeps a quantity that no channel records apart from those that one does', () => {
    expect(shown('50.0 Hz').unit?.quantity).toBeNull();
    expect(shown('50.0 mV').unit?.quantity).toBe('voltage');
  });

  it.each(['', 'V', '12..6 V', '1.2.3', '12.63 parsecs', '12 V A', '1234567890', '--', '12.6-'])(
    'says what is wrong with "%s"',
    (text) => {
      expect(parseDisplay(text)).toEqual(expect.any(String));
    },
  );
});
