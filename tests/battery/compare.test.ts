import { describe, expect, test } from 'vitest';
import { compareFindings } from '../../server/battery/compare.ts';
import { findNight } from '../../server/battery/findings.ts';
import { comparisonSchema, type ComparedFigure } from '../../server/messages/compare.ts';
import type { Findings } from '../../server/messages/findings.ts';

const EMPTY = findNight({ startedAt: null, durationS: 0, channels: [], clockSteps: [] });

/** A night with the figures given; the rest as of a night without readings. */
function night(over: {
  averageA?: [number, number];
  restV?: [number, number];
  timeToSleepS?: number;
  wakeUps?: number;
  hours?: number;
}): Findings {
  const e = (x?: [number, number]) => (x === undefined ? null : { value: x[0], expandedUncertainty: x[1] });
  return {
    ...EMPTY,
    recording: { ...EMPTY.recording, durationS: (over.hours ?? 8) * 3600 },
    sleep: { ...EMPTY.sleep, state: 'slept', timeToSleepS: over.timeToSleepS ?? 0 },
    wakeUps: Array.from({ length: over.wakeUps ?? 0 }, (_, i) => ({
      startS: 3600 + i * 600,
      durationS: 40,
      peakA: 0.2,
      chargeC: 8,
    })),
    draw: { ...EMPTY.draw, averageAfterSleepA: e(over.averageA) },
    battery: { ...EMPTY.battery, restVoltageV: e(over.restV) },
    flags: [],
  };
}

const compare = (before: Findings, after: Findings) =>
  comparisonSchema.parse(
    compareFindings({ title: 'Before', findings: before }, { title: 'After', findings: after }),
  );
const one = (c: { figures: readonly ComparedFigure[] }, figure: ComparedFigure['figure']) =>
  c.figures.find((f) => f.figure === figure)!;

describe('before and after', () => {
  test('a change larger than both uncertainties together is named, with its own', () => {
    const c = compare(night({ averageA: [0.072, 0.003] }), night({ averageA: [0.031, 0.004] }));
    const draw = one(c, 'average-after-sleep');
    expect(draw.change!.value).toBeCloseTo(-0.041, 12);
    expect(draw.change!.expandedUncertainty).toBeCloseTo(0.005, 12); // 3-4-5
    expect(draw.verdict).toBe('fell');
    expect(c.says[0]).toBe('Average after sleep fell by 41 mA ± 5 mA, from 72 mA ± 3 mA to 31 mA ± 4 mA.');
  });

  test('a change within them is not called one', () => {
    const c = compare(night({ averageA: [0.034, 0.003] }), night({ averageA: [0.031, 0.004] }));
    expect(one(c, 'average-after-sleep').verdict).toBe('unclear');
    expect(c.says[0]).toBe('No figure changed by more than its uncertainty.');
    expect(c.says[1]).toMatch(/^Not told apart from no change: average after sleep/);
  });

  test('a figure of one side only is missing, one without uncertainty is not judged', () => {
    const c = compare(
      night({ restV: [12.4, 0.02], timeToSleepS: 2700 }),
      night({ averageA: [0.03, 0.001], timeToSleepS: 600 }),
    );
    expect(one(c, 'rest-voltage')).toMatchObject({ verdict: 'missing', change: null, after: null });
    expect(one(c, 'rest-voltage').sentence).toMatch(/12\.40 V ± 0\.02 V before; not known after/);
    expect(one(c, 'time-to-sleep')).toMatchObject({ verdict: 'not-judged', before: 2700, after: 600 });
    expect(one(c, 'time-to-sleep').sentence).toContain('from 45 min to 10 min');
  });

  test('wake-ups are counted with the square root of their number', () => {
    const c = compare(night({ wakeUps: 25 }), night({ wakeUps: 4 }));
    const f = one(c, 'wake-ups-a-day');
    expect([f.before, f.after]).toEqual([75, 12]);
    expect(f.change!.expandedUncertainty).toBeCloseTo(3 * 2 * Math.sqrt(25 + 4), 9);
    expect(f.verdict).toBe('fell');
    expect(one(compare(night({ wakeUps: 2 }), night({})), 'wake-ups-a-day').verdict).toBe('unclear');
  });

  test('what stands against the comparison is said', () => {
    const c = compare(night({ hours: 1 }), {
      ...night({ hours: 9 }),
      sleep: { ...EMPTY.sleep, state: 'never-slept' },
      battery: { ...EMPTY.battery, table: 'another table' },
    });
    const all = c.says.join(' ');
    expect(all).toMatch(/Before, the car went to sleep; after, it never slept\./);
    expect(all).toMatch(/differ much in length \(1 h and 9 h\)/);
    expect(all).toMatch(/different kinds of battery/);
    expect(one(c, 'wake-ups-a-day').verdict).toBe('missing');
  });

  test('a night against itself has not changed', () => {
    const same = night({ averageA: [0.034, 0.003], restV: [12.5, 0.02], wakeUps: 3 });
    for (const f of compare(same, same).figures)
      expect(['unclear', 'missing', 'not-judged']).toContain(f.verdict);
  });
});
