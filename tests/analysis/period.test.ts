import { describe, expect, it } from 'vitest';
import { realisedPeriod } from '../../server/analysis/period.ts';
import { fitLine, median } from '../../server/analysis/statistics.ts';
import { clockWalk } from '../../server/analysis/walk.ts';
import { Random } from '../helpers/random.ts';

const PERIOD = 0.8;

interface Trial {
  readonly error: number;
  readonly expanded: number;
}

/** Trains whose clock walks by `walkS` a beat, each beat timed to within `timingS`, against their realised mean. */
function trials(count: number, beats: number, walkS: number, timingS: number): Trial[] {
  return Array.from({ length: count }, (_, seed) => {
    const random = new Random(seed + 1);
    const clock = [3];
    for (let k = 1; k < beats; k++) clock.push(clock[k - 1]! + PERIOD + walkS * random.normal());
    const seen = clock.map((t) => t + timingS * random.normal());
    const found = realisedPeriod(
      clock.map((_t, k) => k),
      seen,
    )!;
    const truth = (clock[beats - 1]! - clock[0]!) / (beats - 1);
    return { error: Math.abs(found.periodS - truth), expanded: 2 * found.standardU };
  });
}

describe('the realised period', () => {
  it.each([
    ['a fixed clock', 0, 0.01],
    ['a clock that hardly walks', 2e-5, 0.02],
    ['a clock that walks', 1e-3, 0.01],
    ['a clock that walks more than readings hide', 0.01, 0.001],
  ])('of %s is covered by its uncertainty, which is not wide', (_name, walkS, timingS) => {
    const all = trials(200, 700, walkS, timingS);
    const covered = all.filter((t) => t.error <= t.expanded).length / all.length;
    expect(covered).toBeGreaterThanOrEqual(0.9);
    expect(median(all.map((t) => t.expanded)) / median(all.map((t) => t.error))).toBeLessThan(5);
  });

  it('is known less well where times have a least uncertainty of their own', () => {
    const slots = Array.from({ length: 300 }, (_, k) => k);
    const sliding = slots.map((k) => PERIOD * k + 0.1 * ((k / 70) % 1));
    const plain = realisedPeriod(slots, sliding)!;
    const sure = realisedPeriod(slots, sliding, { lengthS: PERIOD / 7.001, scatterS: 0.03, widthS: 0 })!;
    expect(sure.standardU).toBeGreaterThan(4 * plain.standardU);
    expect(Math.abs(sure.periodS - PERIOD)).toBeLessThan(2 * sure.standardU);
  });

  it('does not depend on where slots and times begin', () => {
    const random = new Random(5);
    const slots = Array.from({ length: 80 }, (_, k) => k + (k > 40 ? 7 : 0));
    const times = slots.map((k) => PERIOD * k + 0.01 * random.normal());
    const here = realisedPeriod(slots, times)!;
    const there = realisedPeriod(
      slots.map((k) => k + 12),
      times.map((t) => t + 5000),
    )!;
    expect(there.periodS).toBeCloseTo(here.periodS, 9);
    expect(there.standardU).toBeCloseTo(here.standardU, 9);
    expect(there.firstS + 12 * there.periodS).toBeCloseTo(here.firstS + 5000, 6);
  });
});

describe('a clock that walks about a line', () => {
  const random = new Random(9);
  const slots = Float64Array.from({ length: 50 }, (_, k) => k);
  const times = slots.map((k) => 0.3 * k + 0.05 * random.normal());

  it('is least squares where nothing walks', () => {
    const line = fitLine(slots, times)!;
    const w = clockWalk(slots, times, 0);
    expect(w.gained).toBeCloseTo(49 * line.slope, 9);
    expect(w.first).toBeCloseTo(line.intercept, 9);
    // Student's t with 48 degrees of freedom has a variance of 48 / 46.
    expect(Math.sqrt(w.variance)).toBeCloseTo(49 * line.slopeError * Math.sqrt(48 / 46), 9);
  });

  it('is the two ends where all of it walks', () => {
    expect(clockWalk(slots, times, 1e9).gained).toBeCloseTo(times[49]! - times[0]!, 6);
  });
});
