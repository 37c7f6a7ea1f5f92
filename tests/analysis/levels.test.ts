import { describe, expect, it } from 'vitest';
import { changePoints, changePointsOfLongSeries } from '../../server/analysis/change-points.ts';
import { condition } from '../../server/analysis/condition.ts';
import { findLevels } from '../../server/analysis/levels.ts';
import { findSleep, referenceFloor } from '../../server/analysis/sleep.ts';
import { cutWindows } from '../../server/analysis/windows.ts';
import { makeNight, type NightSpec } from '../helpers/nights.ts';
import { Random } from '../helpers/random.ts';

const ones = (n: number): Float64Array => new Float64Array(n).fill(1);

/** Optimal partitioning without pruning, written the slow and obvious way. */
function slowChangePoints(x: readonly number[], penalty: number): number[] {
  const cost = (a: number, b: number): number => {
    const part = x.slice(a, b);
    const m = part.reduce((s, v) => s + v, 0) / part.length;
    return part.reduce((s, v) => s + (v - m) ** 2, 0);
  };
  const best = [{ total: -penalty, at: 0 }];
  for (let end = 1; end <= x.length; end++) {
    const options = best.map((b, start) => ({ total: b.total + cost(start, end) + penalty, at: start }));
    best.push(options.reduce((a, b) => (b.total < a.total ? b : a)));
  }
  const out: number[] = [];
  for (let end = x.length; best[end]!.at > 0; end = best[end]!.at) out.unshift(best[end]!.at);
  return out;
}

describe('change points', () => {
  it('finds the one change of the published example: 50 zeros, 50 tens, L2, penalty 15', () => {
    const x = [...Array<number>(50).fill(0), ...Array<number>(50).fill(10)];
    expect(changePoints(x, ones(100), 15)).toEqual([50]);
  });

  it('prunes to the same answer as the search without pruning', () => {
    const random = new Random(3);
    for (let round = 0; round < 20; round++) {
      const x: number[] = [];
      while (x.length < 80) {
        const level = random.between(0, 6);
        const length = Math.floor(random.between(3, 25));
        for (let i = 0; i < length; i++) x.push(level + random.normal());
      }
      expect(changePoints(x, ones(x.length), 3 * Math.log(x.length))).toEqual(
        slowChangePoints(x, 3 * Math.log(x.length)),
      );
    }
  });

  it('finds nothing in noise, and three steps in a long series', () => {
    const random = new Random(4);
    const noise = Float64Array.from({ length: 50_000 }, () => random.normal());
    expect(changePointsOfLongSeries(noise, ones(50_000), 1)).toEqual([]);
    const steps = noise.map((v, i) => v + (i < 10_000 ? 40 : i < 20_030 ? 30 : i < 30_001 ? 20 : 0));
    const found = changePointsOfLongSeries(steps, ones(50_000), 1);
    expect(found).toHaveLength(3);
    [10_000, 20_030, 30_001].forEach((at, i) => expect(Math.abs(found[i]! - at)).toBeLessThan(2));
  });
});

function stages(spec: NightSpec) {
  const c = condition(makeNight(spec).input.channels[0]!);
  const windows = cutWindows(c);
  const levels = findLevels(c, windows);
  const sleep = findSleep(c, levels);
  return { c, windows, levels, sleep, reference: referenceFloor(windows, levels.levels, sleep) };
}

const METER = { intervalS: 0.1, resolution: 1e-4, noise: 5e-4 };

describe('windows', () => {
  it('find the floor under pulses and the noise about it', () => {
    const { windows } = stages({
      seed: 2,
      durationS: 1200,
      baselineA: 0.02,
      trains: [{ widthS: 0.02, amplitudeA: 0.8, stretches: [{ startS: 0.1, endS: 1200, periodS: 0.29 }] }],
      current: METER,
    });
    expect(Math.abs(windows.noise / 5e-4 - 1)).toBeLessThan(0.3);
    for (const floor of windows.floor) expect(Math.abs(floor - 0.02)).toBeLessThan(5e-4);
    expect(windows.mean[5]! - 0.02).toBeGreaterThan(0.04);
  });
});

describe('levels and sleep', () => {
  it('finds steps to within a reading, under polling', () => {
    const { sleep, levels } = stages({
      seed: 3,
      durationS: 5400,
      baselineA: 0.022,
      shutDowns: [
        { atS: 41.3, dropA: 0.075 },
        { atS: 1201.7, dropA: 0.12 },
        { atS: 2702.2, dropA: 0.21 },
      ],
      trains: [{ widthS: 0.02, amplitudeA: 0.6, stretches: [{ startS: 60, endS: 5400, periodS: 0.77 }] }],
      current: METER,
    });
    expect(sleep.state).toBe('slept');
    expect(levels.levels).toHaveLength(4);
    [41.3, 1201.7, 2702.2].forEach((at, i) => expect(Math.abs(sleep.steps[i]!.atS - at)).toBeLessThan(0.15));
  });

  it('does not take a drifting zero for steps', () => {
    const { levels, sleep } = stages({
      seed: 4,
      durationS: 6 * 3600,
      baselineA: 0.03,
      current: { ...METER, offsetDrift: 0.01 },
    });
    expect(levels.levels).toHaveLength(1);
    expect(sleep.state).toBe('asleep-from-start');
  });

  it('tells a wake-up from a shut-down, and keeps the floor under it', () => {
    const { sleep, levels, windows, reference } = stages({
      seed: 5,
      durationS: 7200,
      baselineA: 0.025,
      shutDowns: [{ atS: 600, dropA: 0.3 }],
      wakeUps: [
        { startS: 3000, durationS: 200, amplitudeA: 0.25 },
        { startS: 5000, durationS: 90, amplitudeA: 0.1 },
      ],
      current: METER,
    });
    expect(sleep.state).toBe('slept');
    expect(Math.abs(sleep.timeToSleepS! - 600)).toBeLessThan(0.2);
    expect(levels.levels.map((_, k) => sleep.kinds[k])).toEqual([
      'awake',
      'settled',
      'raised',
      'settled',
      'raised',
      'settled',
    ]);
    for (let k = 65; k < windows.count; k++) expect(Math.abs(reference[k]! - 0.025)).toBeLessThan(2e-4);
  });

  it.each([1, 2, 3, 4, 5, 6, 7, 8])(
    'finds one step, and when, in a window that it cuts in two (%i)',
    (seed) => {
      const atS = 1850 + 6 * seed;
      const { sleep } = stages({
        seed,
        durationS: 7200,
        baselineA: 0.036,
        shutDowns: [{ atS, dropA: 0.3 }],
        trains: [{ widthS: 0.06, amplitudeA: 1, stretches: [{ startS: 60.4, endS: 7200, periodS: 2.3 }] }],
        current: { intervalS: 1, resolution: 1e-4, noise: 5e-4 },
      });
      expect(sleep.steps).toHaveLength(1);
      expect(Math.abs(sleep.timeToSleepS! - atS)).toBeLessThan(1.5);
    },
  );

  it('keeps a level of half a minute between two steps', () => {
    const { sleep } = stages({
      seed: 9,
      durationS: 7200,
      baselineA: 0.036,
      shutDowns: [
        { atS: 1860, dropA: 0.3 },
        { atS: 1925, dropA: 0.2 },
      ],
      current: { intervalS: 0.5, resolution: 1e-4, noise: 5e-4 },
    });
    expect(sleep.steps.map((s) => Math.round(s.atS))).toEqual([1860, 1925]);
  });

  it.each([
    ['a high steady draw for hours', { seed: 6, durationS: 7200, baselineA: 0.4 }, 'never-slept'],
    ['a high steady draw for minutes', { seed: 7, durationS: 300, baselineA: 0.4 }, 'undetermined'],
    ['a low steady draw', { seed: 8, durationS: 300, baselineA: 0.02 }, 'asleep-from-start'],
    [
      'a relay that never drops',
      { seed: 9, durationS: 3 * 3600, baselineA: 0.235, shutDowns: [{ atS: 1200, dropA: 0.2 }] },
      'never-slept',
    ],
  ] as const)('%s', (_name, spec, state) => {
    const { sleep } = stages({ ...spec, current: METER });
    expect(sleep.state).toBe(state);
    expect(sleep.timeToSleepS).toBeNull();
  });
});
