import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { FLAG, FLOAT32, isLive, textOf, valueOf } from '../../drivers/core/reading.ts';

describe('a reading', () => {
  it.each([
    [12630, -3, '12.630'],
    [-5, -3, '-0.005'],
    [0, -2, '0.00'],
    [114, 0, '114'],
    [100, 1, '1000'],
    [0, 3, '0'],
    [12345, -5, '0.12345'],
  ])('%i x 10^%i is shown as %s', (counts, scale, text) => {
    expect(textOf(counts, scale)).toBe(text);
    expect(valueOf(counts, scale)).toBe(Number(text));
  });

  it('has the double nearest to its digits', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: -(2 ** 31), max: 2 ** 31 }),
        fc.integer({ min: -9, max: 6 }),
        (counts, scale) => {
          expect(valueOf(counts, scale)).toBe(Number(textOf(counts, scale)));
        },
      ),
    );
  });

  it('keeps a float as it came', () => {
    const value = Math.fround(12.63);
    expect(valueOf(value, FLOAT32)).toBe(value);
    expect(Number(textOf(value, FLOAT32))).toBe(value);
  });

  it('is live unless the display said otherwise', () => {
    expect(isLive(0)).toBe(true);
    expect(isLive(FLAG.meterCellLow | FLAG.clipped)).toBe(true);
    for (const flag of [FLAG.none, FLAG.overload, FLAG.hold, FLAG.relative, FLAG.minMax, FLAG.ac]) {
      expect(isLive(flag)).toBe(false);
    }
  });
});
