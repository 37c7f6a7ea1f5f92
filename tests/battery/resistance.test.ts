import { describe, expect, it } from 'vitest';
import { condition, lowerBound } from '../../server/analysis/condition.ts';
import type { MeterErrors } from '../../server/analysis/dc.ts';
import { quantile } from '../../server/analysis/statistics.ts';
import { channelNoise } from '../../server/analysis/windows.ts';
import { joinResistance, sourceResistance, type Resistance } from '../../server/battery/resistance.ts';
import { makeNight, type NightSpec } from '../helpers/nights.ts';
import { Random } from '../helpers/random.ts';

const OHM = 0.02;
const EXACT = { resolution: 1e-9, noise: 0 };

/** An hour: two loads shut down, the search begins, the car wakes once. */
const HOUR: NightSpec = {
  seed: 1,
  durationS: 3600,
  baselineA: 0.03,
  shutDowns: [
    { atS: 400.3, dropA: 0.3 },
    { atS: 1000.8, dropA: 0.2 },
  ],
  trains: [
    { widthS: 0.05, amplitudeA: 0.6, jitter: 1e-4, stretches: [{ startS: 60.2, endS: 3600, periodS: 0.93 }] },
  ],
  wakeUps: [{ startS: 2200.4, durationS: 35, amplitudeA: 0.25 }],
  current: { intervalS: 0.1, resolution: 1e-4, noise: 5e-4 },
  voltage: { intervalS: 0.5, resolution: 1e-3, noise: 1e-3 },
  battery: { restVoltageV: 12.5, sourceResistanceOhm: OHM, surfaceChargeV: 0.2, surfaceTauS: 3600 },
};

interface Around {
  /** The steps that are told; default all. */
  readonly steps?: readonly number[];
  readonly apartS?: number;
  readonly voltage?: Partial<MeterErrors>;
  readonly current?: Partial<MeterErrors>;
  /** What the voltmeter reads beside the truth, and how much later it stamps its readings. */
  readonly add?: (t: number) => number;
  readonly lateS?: number;
}

function found(change: Partial<NightSpec>, around: Around = {}): Resistance | null {
  const spec = { ...HOUR, ...change };
  const [current, volts] = makeNight(spec).input.channels.map(condition);
  const { add = () => 0, lateS = 0 } = around;
  const voltage = {
    ...volts!,
    t: volts!.t.map((t) => t + lateS),
    y: volts!.y.map((v, k) => v + add(volts!.t[k]!)),
  };
  const errors = { accuracy: null };
  const steps = around.steps ?? [
    ...(spec.shutDowns ?? []).map((s) => s.atS),
    ...(spec.wakeUps ?? []).flatMap((w) => [w.startS, w.startS + w.durationS]),
  ];
  return sourceResistance(
    current!,
    { voltage, apartS: around.apartS ?? 0.1 },
    steps,
    { ...errors, resolution: current!.resolution, noise: channelNoise(current!), ...around.current },
    { ...errors, resolution: voltage.resolution, noise: channelNoise(voltage), ...around.voltage },
  );
}

const off = (r: Resistance | null): number => Math.abs(r!.ohm / OHM - 1);

function manySeeds(
  count: number,
  change: (r: Random) => Partial<NightSpec>,
  around: (r: Random) => Around = () => ({}),
) {
  const all = Array.from({ length: count }, (_, k) => {
    const seed = 100 + k;
    return found({ seed, ...change(new Random(seed)) }, around(new Random(seed)));
  }).filter((r) => r !== null);
  const errors = all.map((r) => r.ohm - OHM);
  return {
    count: all.length,
    bias: errors.reduce((sum, e) => sum + e, 0) / all.length / OHM,
    covered: all.filter((r, k) => Math.abs(errors[k]!) <= 2 * r.standardU).length / all.length,
    ratio:
      quantile(
        all.map((r) => 2 * r.standardU),
        0.5,
      ) / quantile(errors.map(Math.abs), 0.5),
  };
}

const EXACT_METERS = {
  current: { intervalS: 0.1, ...EXACT },
  voltage: { intervalS: 0.5, ...EXACT },
};

describe('the source resistance of exact readings', () => {
  it('is exact', () => {
    const battery = { restVoltageV: 12.5, sourceResistanceOhm: OHM };
    const r = found({ ...EXACT_METERS, battery });
    expect(off(r)).toBeLessThan(1e-4);
    expect(r!.steps).toBe(4);
  });

  it('is not bent by a surface charge that goes within minutes', () => {
    const battery = { restVoltageV: 12.5, sourceResistanceOhm: OHM, surfaceChargeV: 0.3, surfaceTauS: 360 };
    for (const atS of [40, 120, 400])
      expect(
        off(found({ ...EXACT_METERS, battery, shutDowns: [{ atS, dropA: 0.2 }], wakeUps: [] })),
      ).toBeLessThan(0.02);
  });

  it('is that of all changes around the steps that are told', () => {
    const shutDowns = [...HOUR.shutDowns!, { atS: 444.4, dropA: 0.6 }, { atS: 471.2, dropA: 0.1 }];
    expect(off(found({ ...EXACT_METERS, shutDowns }, { steps: [400.3] }))).toBeLessThan(1e-3);
  });

  it('is that of steps that follow each other within seconds', () => {
    const wakeUps = Array.from({ length: 60 }, (_, k) => ({
      startS: 1100 + 40 * k + (k % 7),
      durationS: 8 + (k % 5),
      amplitudeA: 0.3,
    }));
    expect(off(found({ ...EXACT_METERS, wakeUps }))).toBeLessThan(2e-3);
  });
});

describe('what the current does not show', () => {
  it('pulses between its readings leave the figure where it is', () => {
    const strobed = manySeeds(40, (r) => ({
      current: { intervalS: 0.25, apertureS: 0.08, resolution: 1e-4, noise: 2e-4 },
      trains: [
        {
          ...HOUR.trains![0]!,
          jitter: 1e-3,
          stretches: [{ startS: 60, endS: 3600, periodS: r.between(0.4, 2) }],
        },
      ],
    }));
    expect(Math.abs(strobed.bias)).toBeLessThan(0.02);
    expect(strobed.covered).toBeGreaterThanOrEqual(0.85);
  });

  it('readings of the voltage from a pause of the other stand aside', () => {
    const dropouts = [{ startS: 300, endS: 420 }];
    const current = { ...EXACT_METERS.current, dropouts };
    const r = found({ ...EXACT_METERS, current }, { steps: [400.3] });
    expect(off(r)).toBeLessThan(2e-3);
  });

  it('meters that may be seconds apart, and are', () => {
    for (const lateS of [-4, 4.5]) {
      const shutDowns = [{ atS: 400.3, dropA: 0.15 }];
      const apart = manySeeds(
        30,
        () => ({ shutDowns, wakeUps: [], trains: [] }),
        () => ({ lateS, apartS: 5 }),
      );
      expect(Math.abs(apart.bias)).toBeLessThan(0.025);
      expect(apart.covered).toBeGreaterThanOrEqual(0.85);
    }
  });
});

describe('the uncertainty', () => {
  it('holds the truth in most cases, and is not far wider than the error', () => {
    const nights = manySeeds(100, (r) => ({
      shutDowns: [{ atS: r.between(60, 1500), dropA: r.between(0.1, 0.3) }],
      wakeUps: r.next() < 0.5 ? [] : [{ ...HOUR.wakeUps![0]!, amplitudeA: r.between(0.1, 0.4) }],
    }));
    expect(nights.count).toBeGreaterThanOrEqual(98);
    expect(nights.covered).toBeGreaterThanOrEqual(0.9);
    expect(nights.ratio).toBeGreaterThan(2);
    expect(nights.ratio).toBeLessThan(4.5);
  });

  it('is no less honest where steps follow each other closely', () => {
    const shutDowns = Array.from({ length: 12 }, (_, k) => ({ atS: 300 + 185 * k, dropA: 0.04 }));
    const close = manySeeds(100, () => ({ shutDowns, wakeUps: [], trains: [] }));
    expect(close.covered).toBeGreaterThanOrEqual(0.9);
    expect(close.ratio).toBeGreaterThan(2.3);
    expect(close.ratio).toBeLessThan(4.5);
  });

  it('is wider where the voltage wanders by itself for seconds', () => {
    const voltage = { intervalS: 0.5, resolution: 1e-4, noise: 2e-4 };
    const wandering = manySeeds(
      100,
      () => ({ voltage, trains: [], wakeUps: [], shutDowns: [{ atS: 400, dropA: 0.4 }] }),
      (r) => ({ add: wanderer(r) }),
    );
    expect(wandering.count).toBeGreaterThanOrEqual(98);
    expect(wandering.covered).toBeGreaterThanOrEqual(0.85);
  });

  it('is not widened by a rush of current that one meter catches and the other just misses', () => {
    const voltage = { intervalS: 2, apertureS: 0.1, tellAperture: false, resolution: 1e-3, noise: 1e-3 };
    const steps = [400.3, 1000.8];
    const plain = found({ voltage, wakeUps: [], trains: [] }, { steps });
    const rush = [{ startS: 450.2, durationS: 0.5, amplitudeA: 9 }];
    const rushed = found({ voltage, wakeUps: rush, trains: [] }, { steps });
    expect(rushed!.standardU).toBeLessThan(1.3 * plain!.standardU);
    expect(Math.abs(rushed!.ohm - OHM)).toBeLessThanOrEqual(2 * rushed!.standardU);
  });

  it('is wider where one step contradicts the others', () => {
    const plain = found({});
    const contrary = found({}, { add: (t) => (t > 1000.8 && t < 1600 ? 0.0015 : 0) });
    expect(contrary!.standardU).toBeGreaterThan(3 * plain!.standardU);
    expect(Math.abs(contrary!.ohm - OHM)).toBeLessThanOrEqual(2 * contrary!.standardU);
  });

  it('holds what a coarse last digit hides where no noise carries the mean across it', () => {
    const change = (r: Random): Partial<NightSpec> => ({
      baselineA: r.between(0.02, 0.04),
      current: { intervalS: 0.1, resolution: 0.01, noise: 1e-5 },
      trains: [],
      wakeUps: [],
      shutDowns: [{ atS: 900, dropA: r.between(0.04, 0.06) }],
      voltage: { intervalS: 0.1, resolution: 1e-5, noise: 1e-5 },
    });
    const coarse = manySeeds(40, change, () => ({ current: { dither: 0 } }));
    expect(coarse.count).toBeGreaterThan(30);
    expect(coarse.covered).toBeGreaterThanOrEqual(0.9);
  });

  it('has the gain of both meters, which more steps do not lessen', () => {
    const accuracy = { percent: 5, digits: 5 };
    const r = found({}, { current: { accuracy }, voltage: { accuracy } })!;
    expect(r.gainU / r.ohm).toBeCloseTo((0.05 / Math.sqrt(3)) * Math.SQRT2, 6);
    expect(r.standardU).toBeGreaterThan(r.gainU);
    expect(found({})!.gainU).toBe(0);
  });
});

describe('no figure', () => {
  it('comes of no steps, of steps that are too small, and of a voltage that does not follow', () => {
    expect(found({}, { steps: [] })).toBeNull();
    expect(found({ trains: [] }, { steps: [3000] })).toBeNull();
    expect(
      found({ ...EXACT_METERS, shutDowns: [{ atS: 900, dropA: 0.008 }], wakeUps: [], trains: [] }),
    ).toBeNull();
    const battery = { restVoltageV: 12.5, sourceResistanceOhm: 0 };
    for (let seed = 1; seed <= 10; seed++) expect(found({ seed, battery })).toBeNull();
  });

  it('comes of steps that the noise hides', () => {
    const voltage = { intervalS: 0.5, resolution: 1e-3, noise: 0.03 };
    const r = found({ voltage, shutDowns: [{ atS: 900, dropA: 0.05 }], wakeUps: [] });
    expect(r).toBeNull();
  });
});

describe('two stretches of a recording', () => {
  const one: Resistance = { ohm: 0.02, standardU: 5e-4, gainU: 0, steps: 3 };

  it('are surer together, but not of the gain that both share', () => {
    const both = joinResistance(one, one)!;
    expect(both).toMatchObject({ ohm: 0.02, steps: 6 });
    expect(both.standardU).toBeCloseTo(5e-4 / Math.SQRT2, 9);
    const biased = { ...one, standardU: Math.hypot(3e-4, 4e-4), gainU: 4e-4 };
    expect(joinResistance(biased, biased)!.standardU).toBeCloseTo(Math.hypot(3e-4 / Math.SQRT2, 4e-4), 9);
  });

  it('count by what they are worth, and are less sure where they contradict each other', () => {
    const vague = { ...one, ohm: 0.023, standardU: 2e-3 };
    expect(joinResistance(one, vague)!.ohm).toBeCloseTo((16 * 0.02 + 0.023) / 17, 9);
    const other = { ...one, ohm: 0.024 };
    const both = joinResistance(one, other)!;
    expect(both.ohm).toBeCloseTo(0.022, 9);
    expect(both.standardU).toBeCloseTo(0.002, 9);
  });

  it('are the one that has a figure', () => {
    expect(joinResistance(null, one)).toBe(one);
    expect(joinResistance(one, null)).toBe(one);
    expect(joinResistance(null, null)).toBeNull();
  });
});

/** Half a millivolt that keeps for some seconds and is then another. */
function wanderer(r: Random): (t: number) => number {
  const at = Float64Array.from({ length: 1200 }, () => r.next() * 3600).sort();
  const level = at.map(() => 5e-4 * r.normal());
  return (t) => level[Math.min(level.length - 1, lowerBound(at, t))]!;
}
