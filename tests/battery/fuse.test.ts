import { describe, expect, test } from 'vitest';
import { fuseCurrent, fuseRatings } from '../../server/battery/fuse.ts';

describe('millivolts across a fuse', () => {
  test.each([
    // Published charts: standard 10 A, 1 mV is 130 mA; mini 15 A, 0.1 mV is 22 mA and 1 mV is 218 mA.
    ['standard', 10, 1, 0.13],
    ['mini', 15, 0.1, 0.022],
    ['mini', 15, 1, 0.218],
    // Cold resistances from memory of one data sheet.
    ['standard', 1, 1, 0.0081],
    ['standard', 30, 0.1, 0.0508],
  ] as const)('%s %d A, %d mV', (kind, rating, mv, amps) => {
    const { currentA, source } = fuseCurrent(kind, rating, mv, 0.01)!;
    expect(currentA.value / amps).toBeCloseTo(1, 1.5);
    expect(source).toContain(`${kind} blade fuse ${rating} A`);
    expect(source.includes('from memory')).toBe(kind === 'standard' && rating !== 10);
  });

  test('carry the spread of the fuse and the last digit of the meter', () => {
    // 10 %, rectangular, k = 2: 2 x 10 / sqrt 3 = 11.5 %; a digit of 0.1 mV on 7.7 mohm: 2 x 13 mA / sqrt 3 = 15 mA.
    expect(fuseCurrent('standard', 10, 100, 1e-6)!.currentA.expandedUncertainty / 12.987).toBeCloseTo(
      0.1155,
      3,
    );
    expect(fuseCurrent('standard', 10, 0, 0.1)!.currentA).toEqual({
      value: 0,
      expandedUncertainty: expect.closeTo(0.015, 4) as number,
    });
    expect(fuseCurrent('standard', 20, 1, 0.01)!.currentA.expandedUncertainty / 0.29586).toBeCloseTo(
      0.173,
      2,
    );
  });

  test('the wrong way round are the same current the other way', () => {
    const [one, other] = [0.4, -0.4].map((mv) => fuseCurrent('standard', 5, mv, 0.1)!.currentA);
    expect(other!.value).toBe(-one!.value);
    expect(other!.expandedUncertainty).toBe(one!.expandedUncertainty);
  });

  test('of a fuse that no figure is known of give none', () => {
    expect(fuseCurrent('standard', 40, 1, 0.1)).toBeNull();
    expect(fuseCurrent('mini', 10, 1, 0.1)).toBeNull();
    expect(fuseRatings('mini')).toEqual([15]);
  });
});
