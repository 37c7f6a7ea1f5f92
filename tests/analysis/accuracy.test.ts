import { describe, expect, it } from 'vitest';
import {
  accuracyLimit,
  combine,
  figure,
  parseAccuracy,
  resolutionUncertainty,
  typeA,
  typeB,
} from '../../server/analysis/accuracy.ts';

describe('accuracy as a data sheet prints it', () => {
  it.each([
    ['0.5%+3', 0.5, 3],
    ['±(1.0 % + 5 digits)', 1, 5],
    ['+/-(2.5% + 3 dgt)', 2.5, 3],
    ['0,8 % + 2', 0.8, 2],
    ['1%', 1, 0],
    ['0.5% of reading + 3 counts', 0.5, 3],
  ])('%s', (text, percent, digits) => {
    expect(parseAccuracy(text)).toEqual({ percent, digits });
  });

  it.each(['', 'good', '3 digits', '0.5+3', '-1%+2', '1%+x'])('refuses "%s"', (text) => {
    expect(parseAccuracy(text)).toBeNull();
  });

  // Published multimeter examples: ±(0.5 % + 3) at 2.000 V, ±(2.5 % + 3) at 32.00 V and at 0.09 V.
  it('turns it into limits', () => {
    expect(accuracyLimit(2, { percent: 0.5, digits: 3 }, 0.001)).toBeCloseTo(0.013, 12);
    expect(accuracyLimit(32, { percent: 2.5, digits: 3 }, 0.01)).toBeCloseTo(0.83, 12);
    expect(accuracyLimit(0.09, { percent: 2.5, digits: 3 }, 0.01)).toBeCloseTo(0.03225, 12);
  });
});

describe('uncertainty by JCGM 100:2008', () => {
  it('combines a rectangular limit with the scatter of ten readings (worked example at 12.34 V)', () => {
    const limit = accuracyLimit(12.34, { percent: 0.5, digits: 3 }, 0.01);
    expect(limit).toBeCloseTo(0.0917, 4);
    expect(typeB(limit)).toBeCloseTo(0.05294, 5);
    expect(typeA(0.008, 10)).toBeCloseTo(0.00253, 5);
    expect(combine(typeB(limit), typeA(0.008, 10))).toBeCloseTo(0.053, 5);
    expect(figure(12.34, typeB(limit), typeA(0.008, 10))!.expandedUncertainty).toBeCloseTo(0.106, 3);
  });

  it('gives 0.87 mA at 25.6 mA with ±(1 % + 5 digits of 0.1 mA)', () => {
    const limit = accuracyLimit(25.6e-3, { percent: 1, digits: 5 }, 1e-4);
    expect(limit).toBeCloseTo(0.756e-3, 9);
    expect(figure(25.6e-3, typeB(limit))!.expandedUncertainty).toBeCloseTo(0.87e-3, 5);
  });

  it('knows the half digit of a display, and what it cannot know', () => {
    expect(resolutionUncertainty(0.01)).toBeCloseTo(0.0028868, 7);
    expect(figure(NaN, 1)).toBeNull();
    expect(figure(1, typeA(1, 0))).toBeNull();
  });
});
