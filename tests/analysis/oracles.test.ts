import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { condition } from '../../server/analysis/condition.ts';
import { findExcursions } from '../../server/analysis/excursions.ts';
import { ConstantFloor } from '../../server/analysis/floor.ts';
import { findHidden } from '../../server/analysis/hidden.ts';

/** Figures of scipy 1.10.1 and astropy 5.2.1 (Debian bookworm) and the script that made them once. */
interface Oracle {
  readonly n: number;
  readonly period: number;
  readonly width: number;
  readonly height: number;
  readonly seed: number;
  readonly sum: number;
  readonly lombScargleAstropy: number;
  readonly lombScargleScipy: number;
  readonly boxLeastSquaresAstropy: number;
  readonly findPeaksScipy: number;
}
const { trains } = JSON.parse(
  readFileSync(new URL('../vectors/oracles/oracles.json', import.meta.url), 'utf8'),
) as { trains: Oracle[] };

/** The script's readings: a linear congruential generator (modulus 2^31) gives both languages the same numbers. */
function readings({ n, period, width, height, seed }: Oracle): Float64Array {
  let state = seed;
  return Float64Array.from({ length: n }, (_, i) => {
    let total = 0;
    for (let k = 0; k < 4; k++) {
      state = (Math.imul(1103515245, state) + 12345) & 0x7fffffff;
      total += state / 2147483648;
    }
    const noise = (total - 2) * 1.7320508075688772;
    const since = (100 * i) % Math.round(100 * period);
    return (since < 100 * width ? height : 0) + noise;
  });
}

describe.each(trains)('a train of $period samples against scipy and astropy', (oracle) => {
  const y = readings(oracle);

  it('starts from the same readings', () => {
    expect(y.reduce((a, b) => a + b, 0)).toBeCloseTo(oracle.sum, 6);
  });

  it('folds at the period of both Lomb-Scargle periodograms and near that of box least squares', () => {
    const found = findHidden({ x: y, startS: 0, intervalS: 1 });
    expect(found).toHaveLength(1);
    const { periodS, pulses } = found[0]!;
    expect(Math.abs(periodS / oracle.lombScargleAstropy - 1)).toBeLessThan(1e-4);
    expect(Math.abs(periodS / oracle.lombScargleScipy - 1)).toBeLessThan(1e-4);
    // The boxes are some samples wide and the power is flat on top: 3 samples in 1000 periods' worth.
    expect(Math.abs(periodS / oracle.boxLeastSquaresAstropy - 1)).toBeLessThan(5e-3);
    expect(Math.abs(pulses - oracle.findPeaksScipy)).toBeLessThanOrEqual(1);
  });

  it('counts as many visible pulses as find_peaks', () => {
    const t = Float64Array.from(y, (_, i) => i);
    const c = condition({
      quantity: 'current',
      unit: 'A',
      t,
      y,
      resolution: null,
      apertureS: null,
      accuracy: null,
      gaps: [],
    });
    const { count } = findExcursions(c, new ConstantFloor(0), oracle.height / 2, 0, y.length);
    expect(count).toBe(oracle.findPeaksScipy);
  });
});
