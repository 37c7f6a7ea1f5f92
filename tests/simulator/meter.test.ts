import { describe, expect, it } from 'vitest';
import { createCar } from '../../server/simulator/car.ts';
import { createMeter, type MeterSpec, type RadioSpec } from '../../server/simulator/meter.ts';
import type { Scenario } from '../../server/simulator/scenario.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';

const { live } = SCENARIOS;
const AT_ONCE: RadioSpec = {
  latencyS: 0,
  connectionIntervalS: 0,
  missedEvents: 0,
  loss: 0,
  dropouts: [],
};
const PERFECT: MeterSpec = { ...live.clamp, noise: 0, radio: AT_ONCE };
/** Microamperes, up to 60 A. */
const FINE: Partial<MeterSpec> = { scale: -6, countsMin: -60e6, countsMax: 60e6 };

/** 123.4 mA, for ever. */
const steady: Scenario = {
  ...live,
  modules: [{ name: 'lamp', stages: [], asleepA: 0.1234 }],
  oneOffs: [],
  polling: null,
  wakeUps: [],
};
const steadyMeter = (change: Partial<MeterSpec>, seed = 1) =>
  createMeter({ ...PERFECT, ...change }, createCar(steady, seed));
const countsOf = (change: Partial<MeterSpec>, n: number) => {
  const meter = steadyMeter(change);
  return Array.from({ length: n }, (_, i) => meter.counts(i));
};
const mean = (x: readonly number[]) => x.reduce((a, b) => a + b, 0) / x.length;
const variance = (x: readonly number[]) => {
  const middle = mean(x);
  return mean(x.map((v) => (v - middle) ** 2));
};

describe('conversion', () => {
  it('shows the mean over the aperture, which ends with the conversion', () => {
    const car = createCar(live, 3);
    const meter = createMeter({ ...PERFECT, ...FINE, apertureS: 0.04 }, car);
    for (let i = 0; i < 1000; i++) {
      const end = (i + 1) * 0.1;
      expect(Math.abs(meter.counts(i) * 1e-6 - car.meanCurrentA(end - 0.04, end))).toBeLessThan(0.51e-6);
    }
  });

  it('misses in its dead time what a back-to-back meter catches, yet is right on average', () => {
    const car = createCar(live, 3);
    const sumOf = (apertureS: number) => {
      const meter = createMeter({ ...PERFECT, ...FINE, apertureS }, car);
      let sum = 0;
      for (let i = 1000; i < 21_000; i++) sum += meter.counts(i) * 1e-6 * 0.1;
      return sum;
    };
    const truth = car.chargeC(2100) - car.chargeC(100);
    expect(sumOf(0.1) / truth).toBeCloseTo(1, 6);
    expect(Math.abs(sumOf(0.04) / truth - 1)).toBeGreaterThan(1e-6);
    expect(sumOf(0.04) / truth).toBeCloseTo(1, 1);
  });

  it('rounds to its last digit, and to larger display steps', () => {
    expect(countsOf({}, 3)).toEqual([123, 123, 123]);
    expect(countsOf({ scale: -4 }, 1)).toEqual([1234]);
    expect(countsOf({ stepCounts: 5 }, 1)).toEqual([125]);
    expect(countsOf({ scale: -2 }, 1)).toEqual([12]);
  });

  it('adds offset, drift and gain', () => {
    expect(countsOf({ offset: -0.2 }, 1)).toEqual([-77]);
    expect(countsOf({ gain: 1.1 }, 1)).toEqual([136]);
    const drifting = steadyMeter({ offsetPerHour: 0.004 });
    expect(drifting.counts(36_000 - 1) - drifting.counts(0)).toBe(4);
  });

  it('stops at the ends of its range, and never shows minus nought', () => {
    expect(countsOf({ gain: 1e6 }, 1)).toEqual([live.clamp.countsMax]);
    expect(countsOf({ gain: -1e6 }, 1)).toEqual([live.clamp.countsMin]);
    expect(Object.is(countsOf({ offset: -0.1235 }, 1)[0], 0)).toBe(true);
  });

  it('has the noise it was given, plus that of rounding', () => {
    const n = 40_000;
    for (const noise of [0.0008, 0.002]) {
      const x = countsOf({ noise }, n).map((c) => c / 1000);
      const expected = noise ** 2 + 0.001 ** 2 / 12;
      expect(variance(x) / expected).toBeGreaterThan(1 - 5 * Math.sqrt(2 / n));
      expect(variance(x) / expected).toBeLessThan(1 + 5 * Math.sqrt(2 / n));
      expect(Math.abs(mean(x) - 0.1234)).toBeLessThan((5 * Math.sqrt(expected)) / Math.sqrt(n));
    }
  });

  it('has its own noise for each seed and each meter', () => {
    const noisy = (seed: number, name: string) => {
      const meter = steadyMeter({ noise: 0.01, name }, seed);
      return Array.from({ length: 50 }, (_, i) => meter.counts(i));
    };
    expect(noisy(1, 'A')).toEqual(noisy(1, 'A'));
    expect(noisy(1, 'A')).not.toEqual(noisy(2, 'A'));
    expect(noisy(1, 'A')).not.toEqual(noisy(1, 'B'));
  });

  it('refuses an aperture that is longer than the interval', () => {
    expect(() => steadyMeter({ apertureS: 0.2 })).toThrow(RangeError);
  });
});

describe('radio', () => {
  const radio = (change: Partial<RadioSpec>) => steadyMeter({ radio: { ...AT_ONCE, ...change } });

  it('delivers at once after its latency when nothing stands in the way', () => {
    expect(radio({ latencyS: 0.02 }).arrivalS(9)).toBeCloseTo(1.02, 12);
  });

  it('loses the given share of readings', () => {
    const n = 50_000;
    const meter = radio({ loss: 0.03 });
    let lost = 0;
    for (let i = 0; i < n; i++) if (meter.arrivalS(i) === null) lost++;
    expect(Math.abs(lost - 0.03 * n)).toBeLessThan(4 * Math.sqrt(0.03 * 0.97 * n));
  });

  it('loses readings whatever they say', () => {
    const meter = steadyMeter({ noise: 0.05, radio: { ...AT_ONCE, loss: 0.3 } });
    const lost: number[] = [];
    for (let i = 0; i < 10_000; i++) if (meter.arrivalS(i) === null) lost.push(meter.counts(i));
    expect(Math.abs(mean(lost) - 123.4)).toBeLessThan((4 * 50) / Math.sqrt(lost.length));
  });

  it('sends in bunches at connection events, in order, some an event later', () => {
    const meter = radio({ latencyS: 0.004, connectionIntervalS: 0.27, missedEvents: 0.1 });
    const waits: number[] = [];
    const events = new Set<number>();
    let before = 0;
    for (let i = 0; i < 20_000; i++) {
      const at = meter.arrivalS(i)!;
      expect(at).toBeGreaterThanOrEqual(before);
      before = at;
      waits.push(at - meter.endS(i) - 0.004);
      events.add(Math.round(((at - meter.arrivalS(0)!) / 0.27) * 1e6) / 1e6);
    }
    expect(Math.min(...waits)).toBeGreaterThanOrEqual(-1e-9);
    for (const event of events) expect(event).toBe(Math.round(event));
    // 2.7 readings an event; a tenth of the events is missed.
    expect(events.size / (2000 / 0.27)).toBeCloseTo(0.9, 1);
    expect(waits.filter((w) => w > 0.27).length / waits.length).toBeCloseTo(0.1, 1);
  });

  it('is out of range when the dropouts say so', () => {
    const meter = radio({ dropouts: [{ fromS: 10, toS: 20 }] });
    expect([9.99, 10, 19.99, 20].map((s) => meter.inRange(s))).toEqual([true, false, false, true]);
  });

  it('finds the first conversion that ends at or after a time', () => {
    const meter = radio({});
    expect([0, 0.05, 0.1, 0.11, 0.3, 12.34].map((s) => meter.indexAt(s))).toEqual([0, 0, 0, 1, 2, 123]);
  });
});
