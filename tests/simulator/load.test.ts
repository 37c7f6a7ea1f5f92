import { describe, expect, it } from 'vitest';
import { chargeOf, PulseTrain, StepLoad, type Load, type Segment } from '../../server/simulator/load.ts';
import { bitsAt, streamOf } from '../../server/simulator/random.ts';

const GRID_S = 1e-3;

/** The slow twin: currents at the middles of a grid on which all edges lie, summed. */
function summedCharge(load: Load, toS: number): number {
  let charge = 0;
  for (let k = 0; k < Math.round(toS / GRID_S); k++) charge += load.currentA((k + 0.5) * GRID_S) * GRID_S;
  return charge;
}

describe('StepLoad', () => {
  it('integrates any pile of segments exactly, in whatever order they were added', () => {
    const stream = streamOf(11, 'piles');
    let draw = 0;
    const upTo = (n: number) => bitsAt(stream, draw++) % n;
    for (let pile = 0; pile < 20; pile++) {
      const load = new StepLoad();
      for (let i = 0; i < 12; i++) {
        const segments: Segment[] = Array.from({ length: 1 + upTo(4) }, () => ({
          durationS: upTo(400) * GRID_S,
          currentA: (upTo(2000) - 200) / 1000,
        }));
        load.add(upTo(1500) * GRID_S, segments);
      }
      for (const toS of [0.4, 1.1, 2.5]) expect(load.chargeC(toS)).toBeCloseTo(summedCharge(load, toS), 9);
    }
  });

  it('adds later what overlaps, without changing what went before', () => {
    const load = new StepLoad();
    load.add(0, [{ durationS: Infinity, currentA: 0.02 }]);
    const before = load.chargeC(100);
    load.add(100, [
      { durationS: 5, currentA: 1 },
      { durationS: 10, currentA: 0.2 },
    ]);
    load.add(103, [{ durationS: 1, currentA: 4 }]);
    expect(load.chargeC(100)).toBe(before);
    expect(load.currentA(99.999)).toBeCloseTo(0.02, 12);
    expect(load.currentA(100)).toBeCloseTo(1.02, 12);
    expect(load.currentA(103.5)).toBeCloseTo(5.02, 12);
    expect(load.currentA(115)).toBeCloseTo(0.02, 12);
    expect(load.chargeC(200)).toBeCloseTo(200 * 0.02 + 5 + 2 + 4, 9);
    expect(load.currentA(-1)).toBe(0);
    expect(load.chargeC(-1)).toBe(0);
  });
});

describe('PulseTrain', () => {
  const burst: Segment[] = [
    { durationS: 0.02, currentA: 0.6 },
    { durationS: 0.03, currentA: 0 },
    { durationS: 0.02, currentA: 0.9 },
  ];
  const train = (spec: Partial<ConstructorParameters<typeof PulseTrain>[0]> = {}) =>
    new PulseTrain(
      { startS: 0.1, endS: 3, periodS: 0.25, shape: burst, jitterS: 0, ...spec },
      streamOf(1, 't'),
    );

  it('integrates bursts exactly, before, within and after them', () => {
    for (let toS = 0; toS < 4; toS += 0.017) {
      expect(train().chargeC(toS)).toBeCloseTo(summedCharge(train(), toS), 9);
    }
  });

  it('keeps every pulse, wherever jitter puts it in its slot', () => {
    const jittered = train({ jitterS: 0.1 });
    for (let slot = 0; slot < 12; slot++) {
      const fromS = 0.1 + slot * 0.25;
      expect(jittered.chargeC(fromS + 0.25) - jittered.chargeC(fromS)).toBeCloseTo(chargeOf(burst), 12);
      let summed = 0;
      for (let k = 0; k < 25_000; k++) summed += jittered.currentA(fromS + (k + 0.5) * 1e-5) * 1e-5;
      expect(summed).toBeCloseTo(chargeOf(burst), 4);
    }
  });

  it('counts pulses by their start', () => {
    expect(train().startedBefore(0.1)).toBe(0);
    expect(train().startedBefore(0.1001)).toBe(1);
    expect(train().startedBefore(0.35)).toBe(1);
    expect(train().startedBefore(0.36)).toBe(2);
    expect(train().startedBefore(99)).toBe(12); // 0.1 ... 2.85
    expect(train({ startS: 0, endS: 2.1, periodS: 0.3 }).startedBefore(99)).toBe(7); // 2.1 / 0.3 is a hair above 7 in doubles
    expect(train({ endS: Infinity }).startedBefore(1000.1)).toBe(4000);
    expect(train().chargeC(99)).toBeCloseTo(12 * chargeOf(burst), 12);
  });

  it('refuses a pulse that does not fit into its period', () => {
    expect(() => train({ periodS: 0.06 })).toThrow(RangeError);
    expect(() => train({ jitterS: 0.2 })).toThrow(RangeError);
  });
});
