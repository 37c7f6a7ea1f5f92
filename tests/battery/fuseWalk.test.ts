import { describe, expect, test } from 'vitest';
import { measureFuseStep } from '../../server/battery/fuseStep.ts';
import { dropFigure, sumFuseWalk } from '../../server/battery/fuseWalk.ts';
import type { FuseLine } from '../../server/messages/fuses.ts';
import { seeded } from '../helpers/seeded.ts';

const PULLED_S = 60;

interface Draw {
  readonly steadyA: number;
  /** What the pulled circuit draws steadily. */
  readonly circuitA: number;
  /** Pulses of a search of 0.5 A for 20 ms, every so often; gone with the fuse or not. */
  readonly pollS?: number;
  readonly pollEnds?: boolean;
  /** Awake for so long from the pull on. */
  readonly wokenS?: number;
  readonly everyS?: number;
  readonly untilS?: number;
  readonly driftA?: number;
}

/** An averaging clamp at a draw with one step. */
function measured(d: Draw, seed = 3, nextS: number | null = null) {
  const random = seeded(seed);
  const every = d.everyS ?? 0.1;
  const t = Float64Array.from({ length: Math.round((d.untilS ?? 300) / every) }, (_, i) => (i + 1) * every);
  const y = t.map((x) => {
    const out = x > PULLED_S;
    let a = d.steadyA + (out ? 0 : d.circuitA) + (d.driftA ?? 0) * (x / 100);
    if (d.pollS !== undefined && !(out && d.pollEnds === true) && x % d.pollS < every)
      a += (0.5 * 0.02) / every;
    if (out && x < PULLED_S + (d.wokenS ?? 0)) a += 0.3;
    return Math.round((a + 0.0004 * (random() - 0.5)) * 1e4) / 1e4;
  });
  return measureFuseStep(t, y, 0.0001, PULLED_S, nextS);
}

describe('a fuse that is pulled', () => {
  test('shows the step in the draw with its uncertainty', () => {
    const s = measured({ steadyA: 0.03, circuitA: 0.21 });
    expect(Math.abs(s.stepA!.value - 0.21)).toBeLessThan(s.stepA!.expandedUncertainty);
    expect(s.stepA!.expandedUncertainty).toBeLessThan(0.001);
    expect([s.isFinal, s.says]).toEqual([true, '']);
    const soon = measured({ steadyA: 0.03, circuitA: 0.21, untilS: 95 });
    expect([soon.isFinal, soon.stepA!.value > 0.2]).toEqual([false, true]);
  });

  test('takes the polling with it: the mean counts it, a median would not', () => {
    const s = measured({ steadyA: 0.03, circuitA: 0, pollS: 0.75, pollEnds: true });
    expect(Math.abs(s.stepA!.value - 0.01 / 0.75)).toBeLessThan(s.stepA!.expandedUncertainty + 0.0005);
    expect(s.stepA!.value).toBeGreaterThan(s.stepA!.expandedUncertainty);
  });

  test('that feeds nothing shows none, and less than what the readings can show', () => {
    const s = measured({ steadyA: 0.03, circuitA: 0, pollS: 0.75 });
    expect(Math.abs(s.stepA!.value)).toBeLessThanOrEqual(s.stepA!.expandedUncertainty);
    expect(s.says).toMatch(/^No step stands out: this circuit draws less than \d/);
  });

  test('is measured after what it woke has gone to sleep again', () => {
    const s = measured({ steadyA: 0.03, circuitA: 0.05, wokenS: 62 });
    expect(Math.abs(s.stepA!.value - 0.05)).toBeLessThan(0.001);
    const awake = measured({ steadyA: 0.03, circuitA: 0.05, wokenS: 400 });
    expect(awake.stepA!.value).toBeLessThan(0);
    expect(awake.says).toMatch(/pulling it woke something/);
  });

  test('waits for readings, and not for ever', () => {
    const early = measured({ steadyA: 0.03, circuitA: 0.05, untilS: 70 });
    expect([early.stepA, early.isFinal]).toEqual([null, false]);
    expect(early.beforeA!.value).toBeCloseTo(0.08, 3);
    const next = measured({ steadyA: 0.03, circuitA: 0.05 }, 3, 75);
    expect([next.stepA, next.isFinal]).toEqual([null, true]);
    expect(next.says).toMatch(/leave it out for 25 s/);
    const sparse = measured({ steadyA: 0.03, circuitA: 0.05, everyS: 5 });
    expect([sparse.stepA, sparse.says]).toEqual([null, 'Too few readings before the fuse was pulled.']);
  });

  test('while the car still falls asleep gives no figure', () => {
    const s = measured({ steadyA: 0.3, circuitA: 0.05, driftA: -0.15 });
    expect([s.stepA, s.isFinal]).toEqual([null, true]);
    expect(s.says).toMatch(/not steady before/);
  });

  test('the stated uncertainty holds the truth in nearly all of 200 pulls', () => {
    let held = 0;
    for (let seed = 0; seed < 200; seed++) {
      const s = measured({ steadyA: 0.03, circuitA: 0.02, pollS: 0.37, everyS: 0.25, untilS: 100 }, seed);
      if (Math.abs(s.stepA!.value - 0.02) <= s.stepA!.expandedUncertainty) held++;
    }
    expect(held).toBeGreaterThan(188);
  });
});

const line = (place: string, amps: number | null, u = 0.005): FuseLine => ({
  id: 'line1234',
  place,
  measured: { way: 'drop', kind: 'standard', rating: 10, millivolts: 1, digitMv: 0.1 },
  currentA: amps === null ? null : { value: amps, expandedUncertainty: u },
  says: '',
  at: '2026-01-05T21:13:01.500Z',
});
const clamp = (value: number) => ({ value, expandedUncertainty: 0.004 });

describe('the fuse walk', () => {
  test('sums up and says what it leaves out', () => {
    const w = sumFuseWalk({ lines: [line('F1', 0.2), line('F2', 0.04)], clampA: clamp(0.31) });
    expect(w.sumA!.value).toBeCloseTo(0.24, 12);
    expect(w.sumA!.expandedUncertainty).toBeCloseTo(Math.hypot(0.005, 0.005), 12);
    expect(w.unexplainedA!.value).toBeCloseTo(0.07, 12);
    expect(w.says).toEqual([
      'F1 draws the most: 200 mA ± 5 mA.',
      '70 mA ± 8 mA of the 310 mA ± 4 mA by the clamp runs through circuits that are not in the list.',
    ]);
  });

  test('agrees, or sums to more, within what the figures carry', () => {
    expect(sumFuseWalk({ lines: [line('F1', 0.2)], clampA: clamp(0.202) }).says[1]).toMatch(
      /^The fuses and the clamp agree/,
    );
    expect(sumFuseWalk({ lines: [line('F1', 0.2), line('F2', 0.2)], clampA: clamp(0.2) }).says[1]).toMatch(
      /one of them feeds others/,
    );
    expect(sumFuseWalk({ lines: [line('F1', 0.2), line('F2', 0.203)], clampA: null }).says).toEqual([
      'F2 and F1 draw the most, and cannot be told apart.',
      'Take the whole draw by the clamp to see what the list leaves out.',
    ]);
  });

  test('counts a place once, by the better figure, and lines without a figure not', () => {
    const w = sumFuseWalk({
      lines: [line('F1', 0.2, 0.03), line('f1', 0.21, 0.001), line('F3', null)],
      clampA: null,
    });
    expect(w.sumA!.value).toBe(0.21);
    expect(w.says).toContain('Lines without a figure are not in the sum.');
    expect(sumFuseWalk({ lines: [line('F1', 0.002)], clampA: null }).says[0]).toBe(
      'No circuit stands out of what the readings can show.',
    );
    expect(sumFuseWalk({ lines: [], clampA: null })).toMatchObject({
      sumA: null,
      unexplainedA: null,
      says: ['No fuse is measured yet.'],
    });
  });

  test('claims nothing that the millivolts do not carry', () => {
    const none = dropFigure('standard', 20, 0, 0.1)!;
    expect(none.says).toMatch(
      /^Not told apart from none: this circuit draws less than 34\.2 mA\. One digit of the meter is 29\.6 mA here\.$/,
    );
    const some = dropFigure('standard', 10, -1.6, 0.1)!;
    expect(some.currentA!.value).toBeCloseTo(0.2078, 4);
    expect(some.says).toContain('published chart');
    expect(dropFigure('mini', 20, 1, 0.1)).toBeNull();
  });
});
