import { describe, expect, it } from 'vitest';
import { condition } from '../../server/analysis/condition.ts';
import { findExcursions } from '../../server/analysis/excursions.ts';
import { offsetOfFloor } from '../../server/analysis/floor-offset.ts';
import { ConstantFloor } from '../../server/analysis/floor.ts';
import { findNight } from '../../server/battery/findings.ts';
import { hardNight } from '../helpers/hard-nights.ts';
import { makeNight } from '../helpers/nights.ts';
import { Random } from '../helpers/random.ts';

const FLOOR_A = 0.029815;
const NOISE_A = 6e-4;

/** A display of whole milliamperes once a second; a pulse of three readings every `every`. */
function readings(every: number) {
  const r = new Random(11);
  const y = Float64Array.from({ length: 40_000 }, (_, i) => {
    const pulse = i % every < 3 ? 0.05 : 0;
    return Math.round(1000 * (FLOOR_A + NOISE_A * r.normal() + pulse)) / 1000;
  });
  return condition({
    quantity: 'current',
    unit: 'A',
    t: Float64Array.from(y, (_, i) => i),
    y,
    resolution: null,
    apertureS: 1,
    accuracy: null,
    gaps: [],
  });
}

function offset(level: number, every = 20, noise = NOISE_A): number {
  const c = readings(every);
  const floor = new ConstantFloor(level);
  return offsetOfFloor(c, floor, findExcursions(c, floor, 4e-3, 0, c.y.length), 1000, noise);
}

describe('a floor that is made of a few digits', () => {
  it.each([0.0296, 0.029815, 0.0302])('is as far off as the quiet readings say (%f A)', (level) => {
    // The noise of the mean of 30,000 readings, three times.
    expect(Math.abs(offset(level) - (FLOOR_A - level))).toBeLessThan((3 * 7e-4) / Math.sqrt(3e4));
  });

  it('is left where it is where the noise, few quiet readings or a whole digit say nothing', () => {
    expect(offset(0.0296, 20, 2e-3)).toBe(0);
    expect(offset(0.0296, 5)).toBe(0);
    expect(offset(0.0285)).toBe(0);
  });

  it('lets no digit into the average of a search for a month', () => {
    const spec = hardNight('month', 3);
    const night = makeNight(spec);
    const { regimes } = findNight(night.input).polling;
    for (const [k, x] of night.truth.trains.flat().entries()) {
      const { value } = regimes[k]!.averageA!;
      // Before the floor was set right: 0.75 % too high.
      expect(Math.abs((value * x.periodS) / x.chargePerPulseC - 1)).toBeLessThan(1e-3);
    }
  });
});
