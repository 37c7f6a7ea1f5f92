import { describe, expect, it } from 'vitest';
import { meterOf, meterUncertainty, roundingOfMean } from '../../server/analysis/dc.ts';
import { withoutZero, zeroOf } from '../../server/analysis/zero.ts';

const before = { atS: -60, value: 0.003, standardUncertainty: 1e-4 };
const after = { atS: 3540, value: 0.005, standardUncertainty: 2e-4 };

describe('zero checks', () => {
  it('are joined by straight lines and held outside', () => {
    const zero = zeroOf([after, before])!;
    expect(zero.at(-100)).toBe(0.003);
    expect(zero.at(1740)).toBeCloseTo(0.004, 12);
    expect(zero.at(9999)).toBe(0.005);
    const y = withoutZero(Float64Array.of(-60, 1740, 3540), Float64Array.of(0.013, 0.014, 0.015), [
      before,
      after,
    ]);
    for (const v of y) expect(v).toBeCloseTo(0.01, 12);
  });

  // A rectangle of half the difference either way: a / sqrt 3 (JCGM 100:2008, 4.3.7), beside the checks' own.
  it('leave half their difference uncertain', () => {
    expect(zeroOf([before, after])!.standardU).toBeCloseTo(Math.hypot(2e-4, 1e-3 / Math.sqrt(3)), 12);
    expect(zeroOf([before])!.standardU).toBe(1e-4);
    expect(zeroOf([])).toBeNull();
  });

  it('reach the uncertainty of a mean', () => {
    const facts = meterOf({ accuracy: null, zeroChecks: [before, after] });
    const meter = { ...facts, resolution: null, noise: 0 };
    expect(meterUncertainty(0.02, meter)).toBeCloseTo(zeroOf([before, after])!.standardU, 12);
  });
});

describe('rounding of a mean', () => {
  const meter = (noise: number) => ({ accuracy: null, resolution: 1e-3, noise });

  // A digit d without noise leaves a rectangle: d / sqrt 12 (JCGM 100:2008, F.2.2.1); noise dithers it away.
  it('is a rectangle without noise and fades with it', () => {
    expect(roundingOfMean(meter(0))).toBeCloseTo(1e-3 / Math.sqrt(12), 4);
    expect(roundingOfMean(meter(3e-4))).toBeLessThan(0.05e-3);
    expect(roundingOfMean(meter(1e-3))).toBeLessThan(1e-9);
  });
});
