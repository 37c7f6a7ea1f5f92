import { describe, expect, it } from 'vitest';
import { followBeat, periodOverTime, type Piece } from '../../server/analysis/beat.ts';
import { foldPulses } from '../../server/analysis/pulse-fold.ts';
import { median } from '../../server/analysis/statistics.ts';
import { makeNight, type NightSpec } from '../helpers/nights.ts';

const QUICK = { intervalS: 0.047, apertureS: 0.047, resolution: 0.001, noise: 0.0008 };

function pieceOf(spec: Partial<NightSpec> & Pick<NightSpec, 'trains' | 'current'>): Piece {
  const { input } = makeNight({ seed: 7, durationS: 1800, baselineA: 0.02, ...spec });
  const { t, y } = input.channels.find((c) => c.quantity === 'current')!;
  return { t, y };
}

const train = (periodS: number, widthS: number, more = {}) => ({
  widthS,
  amplitudeA: 0.3,
  stretches: [{ startS: 0, endS: 1800, periodS }],
  ...more,
});

describe('the period over time', () => {
  it('shows a period that grows, at each time', () => {
    const piece = pieceOf({ trains: [train(0.8, 0.06, { drift: 1e-3 })], current: QUICK });
    const points = periodOverTime(followBeat([piece], 0.8004), 0.8004);
    expect(points.length).toBeGreaterThan(60);
    // The period grows evenly by a thousandth over the night.
    const truth = (atS: number): number => 0.8 * (1 + (1e-3 * atS) / 1800);
    const outside = points.filter((p) => Math.abs(p.periodS - truth(p.atS)) > p.uncertaintyS);
    expect(outside.length / points.length).toBeLessThan(0.15);
    const off = points.map((p) => Math.abs(p.periodS - truth(p.atS)));
    expect(median(off)).toBeLessThan(1e-4);
    expect(points.at(-1)!.periodS - points[0]!.periodS).toBeGreaterThan(0.0006);
  });

  it('stands still where the period does, whatever period it is folded at', () => {
    const piece = pieceOf({ trains: [train(0.8, 0.06)], current: QUICK });
    const points = periodOverTime(followBeat([piece], 0.8003), 0.8003);
    expect(median(points.map((p) => p.periodS))).toBeCloseTo(0.8, 4);
    const outside = points.filter((p) => Math.abs(p.periodS - 0.8) > p.uncertaintyS);
    expect(outside.length / points.length).toBeLessThan(0.15);
  });

  it('is found where a reading is nearly as long as the period', () => {
    const slow = { intervalS: 0.25, apertureS: 0.1, resolution: 0.001, noise: 0.001, radioJitterS: 0.02 };
    const piece = pieceOf({ trains: [train(0.3, 0.03)], current: slow });
    const points = periodOverTime(followBeat([piece], 0.30001), 0.30001);
    expect(points.length).toBeGreaterThan(50);
    expect(median(points.map((p) => p.periodS))).toBeCloseTo(0.3, 4);
  });

  it('leaves out where the pulses are away, and is not there without pulses', () => {
    const away = {
      ...train(0.8, 0.06),
      stretches: [600, 1200].map((s, i) => ({ startS: i * 1200, endS: i === 0 ? s : 1800, periodS: 0.8 })),
    };
    const blocks = followBeat([pieceOf({ trains: [away], current: QUICK })], 0.8);
    expect(blocks.filter((b) => b.middleS > 620 && b.middleS < 1180)).toEqual([]);
    expect(blocks.length).toBeGreaterThan(50);
    expect(followBeat([{ t: new Float64Array(0), y: new Float64Array(0) }], 0.8)).toEqual([]);
  });
});

describe('the folded pulse', () => {
  it('shows width, height and floor of the pulse', () => {
    const quick = { intervalS: 0.013, apertureS: 0.002, resolution: 0.001, noise: 0.0005 };
    const piece = pieceOf({ trains: [train(0.8, 0.06)], current: quick });
    const blocks = followBeat([piece], 0.8);
    const fold = foldPulses([piece], blocks, 0.8)!;
    expect(fold.pulses).toBeGreaterThan(2100);
    const high = [...fold.t].filter((_, k) => fold.median[k]! > 0.17);
    expect(high.length).toBeGreaterThan(4);
    const part = (fold.toS - fold.fromS) / fold.t.length;
    expect(Math.abs(high.length * part - 0.06)).toBeLessThan(0.006);
    // It begins at zero of its own time.
    expect(Math.abs(high[0]!)).toBeLessThan(0.008);
    const middle = fold.t.findIndex((t) => t > 0.03);
    expect(fold.median[middle]).toBeCloseTo(0.32, 2);
    expect(fold.median[0]).toBeCloseTo(0.02, 2);
    expect(fold.points.t.length).toBeGreaterThan(500);
    for (const t of fold.points.t) expect(t >= fold.fromS && t <= fold.toS).toBe(true);
  });

  it('stays sharp over hours although the period walks', () => {
    const piece = pieceOf({
      trains: [train(0.8, 0.06, { drift: 5e-4 })],
      current: { ...QUICK, intervalS: 0.013, apertureS: 0.002 },
    });
    const fold = foldPulses([piece], followBeat([piece], 0.8002), 0.8002)!;
    const middle = fold.t.findIndex((t) => t > 0.03);
    expect(fold.lower[middle]).toBeGreaterThan(0.3);
    expect(fold.upper[0]).toBeLessThan(0.03);
  });

  it('lays pieces of a long night over each other', () => {
    const piece = pieceOf({
      trains: [train(0.8, 0.06)],
      current: { ...QUICK, intervalS: 0.013, apertureS: 0.002 },
    });
    const part = (a: number, b: number): Piece => ({ t: piece.t.subarray(a, b), y: piece.y.subarray(a, b) });
    // A period that is a little off: over the hole between the pieces nobody can count the beats.
    const pieces = [part(0, 20_000), part(60_000, 80_000), part(110_000, 130_000)];
    const blocks = followBeat(pieces, 0.80005);
    expect(new Set(blocks.map((b) => b.piece)).size).toBe(3);
    const fold = foldPulses(pieces, blocks, 0.80005)!;
    const middle = fold.t.findIndex((t) => t > 0.03);
    expect(fold.lower[middle]).toBeGreaterThan(0.3);
    expect(fold.upper[0]).toBeLessThan(0.03);
  });

  it('leaves out pulses that ride on a wake-up or on a module that is still awake', () => {
    const piece = pieceOf({
      trains: [train(0.8, 0.06)],
      current: QUICK,
      shutDowns: [{ atS: 300, dropA: 1.2 }],
      wakeUps: [{ startS: 900, durationS: 40, amplitudeA: 2 }],
    });
    const fold = foldPulses([piece], followBeat([piece], 0.8), 0.8)!;
    expect(fold.pulses).toBeGreaterThan(1500);
    expect(fold.pulses).toBeLessThan(1900);
    const far = fold.points.y.filter((y) => y > 0.4);
    expect(far.length / fold.points.y.length).toBeLessThan(0.005);
  });

  it('is not there without readings', () => {
    expect(foldPulses([], [], 0.8)).toBeNull();
  });
});
