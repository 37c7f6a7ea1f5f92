import { describe, expect, it } from 'vitest';
import { condition } from '../../server/analysis/condition.ts';
import { FloorOverTime, WindowFloor } from '../../server/analysis/floor.ts';
import { findLevels, type Level } from '../../server/analysis/levels.ts';
import { cutWindows, type Windows } from '../../server/analysis/windows.ts';
import { findNight } from '../../server/battery/findings.ts';
import { hardNight } from '../helpers/hard-nights.ts';
import { makeNight } from '../helpers/nights.ts';

/** By looking at every window: the one of a sample, or the nearest one that a step does not cut on the sample's level. */
function wholeWindowOf(sample: number, { from, count }: Windows, levels: readonly Level[]): number {
  const level = levels.find((l) => l.from <= sample && sample < l.to)!;
  const own = from.findIndex((_, k) => from[k]! <= sample && sample < from[k + 1]!);
  const whole = Array.from({ length: count }, (_, k) => k).filter(
    (k) => from[k]! >= level.from && from[k + 1]! <= level.to,
  );
  if (whole.length === 0 || whole.includes(own)) return own;
  return whole.reduce((best, k) => (Math.abs(k - own) < Math.abs(best - own) ? k : best));
}

describe('the floor over time', () => {
  it.each(['clear', 'radio', 'autoRange'] as const)(
    'is that of the sample at that time, on either side of every step (%s)',
    (kind) => {
      for (const seed of [60, 65]) {
        const c = condition(makeNight(hardNight(kind, seed)).input.channels[0]!);
        const w = cutWindows(c);
        const { levels } = findLevels(c, w);
        const overTime = new FloorOverTime(w, levels, w.floor);
        const ofSamples = new WindowFloor(w, levels, w.floor, c.t.length);
        const isEdge = (i: number): boolean =>
          levels.some((l) => Math.abs(l.from - i) < 2) || w.from.some((from) => Math.abs(from - i) < 2);
        const steps = levels.slice(1).map((l) => l.from);
        for (const step of steps)
          for (let i = Math.max(0, step - 400); i < Math.min(c.t.length, step + 400); i += 3) {
            if (isEdge(i)) continue;
            ofSamples.until(i);
            expect(overTime.at(c.t[i]!)).toBe(ofSamples.value);
            expect(ofSamples.value).toBe(w.floor[wholeWindowOf(i, w, levels)]);
          }
      }
    },
  );

  it('lets a step into the polling of no night whose radio loses readings', () => {
    let checked = 0;
    for (const seed of [5, 14, 25, 27, 51, 56, 60, 65, 76]) {
      const night = makeNight(hardNight('radio', seed));
      const { regimes } = findNight(night.input).polling;
      for (const x of night.truth.trains[0]!) {
        const r = regimes.find((r) => Math.abs((r.periodS?.value ?? 0) / x.periodS - 1) < 1e-3);
        const average = r?.averageA ?? null;
        if (average === null) continue;
        const truth = (x.chargePerPulseC * (x.pulses - 1)) / (x.lastS - x.firstS);
        expect(Math.abs(average.value / truth - 1), `seed ${seed}`).toBeLessThan(0.02);
        checked++;
      }
    }
    expect(checked).toBeGreaterThan(9);
  });
});
