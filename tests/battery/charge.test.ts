import { describe, expect, it } from 'vitest';
import { condition } from '../../server/analysis/condition.ts';
import { daysUntil, defaultThresholdV, stateOfCharge } from '../../server/battery/charge.ts';
import { polarity } from '../../server/battery/polarity.ts';
import { regularity } from '../../server/battery/regularity.ts';
import { quietPoints, restVoltage } from '../../server/battery/rest.ts';
import { makeNight } from '../helpers/nights.ts';

const METER = { accuracy: null, resolution: 1e-3, noise: 1e-3 };

function voltage(surfaceChargeV: number, surfaceTauS: number, durationS: number, seed = 1) {
  const night = makeNight({
    seed,
    durationS,
    baselineA: 0.03,
    voltage: { intervalS: 1, resolution: 1e-3, noise: 1e-3 },
    battery: { restVoltageV: 12.37, sourceResistanceOhm: 0.02, surfaceChargeV, surfaceTauS },
  });
  return condition(night.input.channels[0]!);
}

const restOf = (c: ReturnType<typeof voltage>) => restVoltage(quietPoints(c, 0, [], null), METER, 0);

describe('rest voltage', () => {
  it('looks through a decaying surface charge', () => {
    for (const [surface, tau] of [
      [0.25, 3600],
      [0.15, 5400],
      [0.3, 1800],
    ] as const) {
      const rest = restOf(voltage(surface, tau, 8 * 3600))!;
      expect(Math.abs(rest.restV - 12.3694)).toBeLessThan(0.01);
    }
  });

  it('says that surface charge is left at the end of a short recording, and is less sure', () => {
    const long = restOf(voltage(0.2, 5400, 8 * 3600))!;
    const short = restOf(voltage(0.2, 5400, 2.5 * 3600))!;
    expect(short.surfaceLeftV).toBeGreaterThan(0.02);
    expect(long.surfaceLeftV).toBeLessThan(0.005);
    expect(short.restU).toBeGreaterThan(long.restU);
    expect(Math.abs(short.restV - 12.3694)).toBeLessThan(2 * short.restU + 1e-3);
  });

  it('is a plain mean without surface charge, and nothing without readings', () => {
    const rest = restOf(voltage(0, 3600, 3600))!;
    expect(Math.abs(rest.restV - 12.3694)).toBeLessThan(5e-4);
    expect(rest.surfaceLeftV).toBe(0);
    expect(restOf(voltage(0, 3600, 30))).toBeNull();
  });
});

describe('state of charge', () => {
  it('carries the disagreement of the tables: 42 to 60 % at 12.20 V', () => {
    const any = stateOfCharge(12.2, 0.001, undefined, 25)!;
    expect(any.value).toBeCloseTo(0.444, 3);
    expect(any.expandedUncertainty).toBeGreaterThan(0.15);
    expect(any.value + any.expandedUncertainty).toBeGreaterThan(0.6);
  });

  it('widens with the voltage, with the cold, and for batteries without a table of their own', () => {
    const base = stateOfCharge(12.4, 0.001, 'flooded', 25)!.expandedUncertainty;
    expect(stateOfCharge(12.4, 0.05, 'flooded', 25)!.expandedUncertainty).toBeGreaterThan(base);
    expect(stateOfCharge(12.4, 0.001, 'flooded', -15)!.expandedUncertainty).toBeGreaterThan(base);
    expect(stateOfCharge(12.4, 0.001, 'flooded', -15)!.value).toBe(
      stateOfCharge(12.4, 0.001, 'flooded', 25)!.value,
    );
    expect(stateOfCharge(12.4, 0.001, 'efb', 25)!.expandedUncertainty).toBeGreaterThan(base);
  });

  // Meter limits of ±(0.5 % + 3 digits) at 12.34 V leave U = 0.106 V, about 14 % of charge on table A.
  it('turns an expanded uncertainty of 0.106 V into about 14 %', () => {
    const u = stateOfCharge(12.34, 0.053, 'flooded', 25)!.expandedUncertainty;
    const tablesOnly = stateOfCharge(12.34, 0, 'flooded', 25)!.expandedUncertainty;
    expect(Math.sqrt(u * u - tablesOnly * tablesOnly)).toBeCloseTo(0.126, 1);
  });
});

describe('days until unreliable', () => {
  // 60 Ah from full to half at 50 mA: 25.0 days without self-discharge (capacity arithmetic).
  it('is the usable charge over the draw, with self-discharge on top', () => {
    const full = { value: 1, expandedUncertainty: 0 };
    const draw = { value: 0.05, expandedUncertainty: 0 };
    const days = daysUntil(full, { v: 12.24, u: 0 }, draw, 60, 'flooded')!;
    const perDay = 0.05 * 24 + 0.005 * 60;
    expect(days.value).toBeCloseTo(30 / perDay, 6);
    expect(days.value).toBeLessThan(25);
    expect(days.expandedUncertainty).toBeGreaterThan(0);
    // The flooded table rises by 10 % from 12.15 V to 12.27 V or so: 10 mV of doubt are about 0.4 days here.
    const vague = daysUntil(full, { v: 12.24, u: 0.01 }, draw, 60, 'flooded')!;
    expect(vague.value).toBe(days.value);
    const added = Math.sqrt(vague.expandedUncertainty ** 2 - days.expandedUncertainty ** 2) / 2;
    expect(added * perDay).toBeGreaterThan(0.3);
    expect(added * perDay).toBeLessThan(0.9);
    const empty = { value: 0.2, expandedUncertainty: 0.1 };
    expect(daysUntil(empty, { v: 12.24, u: 0 }, draw, 60, 'flooded')!.value).toBe(0);
  });

  it('has a default threshold at 40 % of the table in use', () => {
    expect(defaultThresholdV('flooded')).toBe(12.17);
    expect(defaultThresholdV('agm')).toBe(12.18);
    expect(defaultThresholdV('gel')).toBe(12.21);
    expect(defaultThresholdV(undefined)).toBe(12.17);
  });
});

describe('which way the current flows', () => {
  const night = (reversed: boolean, offset: number, restVoltageV: number) => {
    const { input } = makeNight({
      seed: 3,
      durationS: 1800,
      baselineA: 0.03,
      shutDowns: [{ atS: 300, dropA: 0.2 }],
      current: { intervalS: 0.5, resolution: 1e-3, noise: 5e-4, reversed, offset },
      voltage: { intervalS: 1, resolution: 1e-2, noise: 2e-3 },
      battery: { restVoltageV, sourceResistanceOhm: 0.02 },
    });
    return input.channels.map(condition) as [ReturnType<typeof condition>, ReturnType<typeof condition>];
  };

  it('knows a clamp on backwards', () => {
    expect(polarity(...night(true, 0, 12.5)).reversed).toBe(true);
    expect(polarity(...night(false, 0, 12.5)).reversed).toBe(false);
  });

  it('takes a charger for a charger, not for a reversed clamp', () => {
    const p = polarity(...night(false, -2, 13.8));
    expect(p.reversed).toBe(false);
    expect(p.chargingShare).toBeGreaterThan(0.9);
    expect(p.chargingA).toBeGreaterThan(1.5);
  });
});

describe('rhythm', () => {
  it('tells a timer from chance', () => {
    expect(regularity([0, 600, 1201, 1800, 2399])).toEqual({
      intervalS: 599.5,
      regular: true,
    });
    expect(regularity([0, 200, 1201, 1500, 3399]).regular).toBe(false);
  });
});
