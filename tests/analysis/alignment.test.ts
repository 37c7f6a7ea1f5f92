import { describe, expect, it } from 'vitest';
import { alignChannels } from '../../server/analysis/alignment.ts';
import { condition, conditionAll, lowerBound, type Conditioned } from '../../server/analysis/condition.ts';
import { quantile } from '../../server/analysis/statistics.ts';
import { channelNoise } from '../../server/analysis/windows.ts';
import { findNight } from '../../server/battery/findings.ts';
import { describeFindings } from '../../server/messages/sentences.ts';
import { makeNight, type NightSpec } from '../helpers/nights.ts';
import { Random } from '../helpers/random.ts';

/** An hour and a half with four wake-ups, and meters of any pace; the voltage's stamps are `lagS` late. */
function night(seed: number, lagS: number, change: Partial<NightSpec> = {}) {
  const r = new Random(seed);
  const wakeUps = Array.from({ length: 4 }, (_, i) => ({
    startS: 2500 + 600 * i + 50 * r.next(),
    durationS: r.between(20, 60),
    amplitudeA: r.between(0.3, 4),
  }));
  const spec: NightSpec = {
    seed,
    durationS: 5400,
    baselineA: 0.025,
    shutDowns: [{ atS: 100 + 50 * r.next(), dropA: r.between(0.5, 3) }],
    wakeUps,
    trains:
      r.next() < 0.5
        ? [{ widthS: 0.02, amplitudeA: 0.5, stretches: [{ startS: 1000, endS: 5400, periodS: 3.3 }] }]
        : [],
    current: { intervalS: r.pick([0.1, 0.25, 0.5, 1]), resolution: 1e-3, noise: 1e-3, radioJitterS: 0.02 },
    voltage: {
      intervalS: r.pick([0.1, 0.25, 0.5, 1, 2]),
      resolution: r.pick([1e-3, 1e-2]),
      noise: r.between(1e-3, 4e-3),
      radioJitterS: 0.02,
    },
    battery: { restVoltageV: 12.5, sourceResistanceOhm: 0.02, surfaceChargeV: 0.2, surfaceTauS: 4000 },
    ...change,
  };
  const { input } = makeNight(spec);
  const [current, voltage] = input.channels;
  const late = { ...voltage!, t: voltage!.t.map((t) => t + lagS) };
  return {
    input: { ...input, channels: [current!, late] },
    current: condition(current!),
    voltage: condition(late),
    steps: (spec.wakeUps ?? []).flatMap((w) => [w.startS, w.startS + w.durationS]),
  };
}

function aligned({ current, voltage, steps }: ReturnType<typeof night>) {
  return alignChannels(
    { channel: current, noise: channelNoise(current) },
    { channel: voltage, noise: channelNoise(voltage) },
    steps,
  );
}

/**
 * The slow way: the lag at which the readings of voltage, each held against the current's readings of the same
 * moment drawn as stairs, leave the least squares about a straight line, over a fine grid and around each step.
 */
function slowly(current: Conditioned, voltage: Conditioned, steps: readonly number[]): number {
  let best = { lag: 0, squares: Infinity };
  for (let lag = -4; lag <= 4; lag += 0.1) {
    let squares = 0;
    for (const at of steps) {
      const v: number[] = [];
      const x: number[] = [];
      voltage.t.forEach((t, i) => {
        if (Math.abs(t - at) > 15) return;
        // The mean of what flowed while this reading was taken, from ten looks at the stairs.
        let sum = 0;
        for (let k = 0; k < 10; k++) {
          const moment = t - lag - voltage.apertureS! * ((k + 0.5) / 10);
          sum += current.y[Math.min(current.y.length - 1, lowerBound(current.t, moment))]!;
        }
        v.push(voltage.y[i]!);
        x.push(sum / 10);
      });
      squares += leftOver(x, v);
    }
    if (squares < best.squares) best = { lag, squares };
  }
  return best.lag;
}

function leftOver(x: readonly number[], y: readonly number[]): number {
  const n = x.length;
  const [mx, my] = [x.reduce((a, b) => a + b, 0) / n, y.reduce((a, b) => a + b, 0) / n];
  const sum = (f: (i: number) => number) => x.reduce((s, _, i) => s + f(i), 0);
  const [xx, xy, yy] = [
    sum((i) => (x[i]! - mx) ** 2),
    sum((i) => (x[i]! - mx) * (y[i]! - my)),
    sum((i) => (y[i]! - my) ** 2),
  ];
  return xx === 0 ? yy : yy - (xy * xy) / xx;
}

describe('two meters whose stamps are apart', () => {
  it('are set together by their common steps, as surely as is said', () => {
    const errors: number[] = [];
    const stated: number[] = [];
    for (let seed = 1; seed <= 60; seed++) {
      const lagS = new Random(1000 + seed).between(-3, 3);
      const found = aligned(night(seed, lagS))!;
      errors.push(Math.abs(found.lagS - lagS));
      stated.push(2 * found.standardU);
    }
    const covered = errors.filter((e, i) => e <= stated[i]!).length;
    // 95 % of 60 are 57; fewer than 51 or all of them but with wide statements would be dishonest.
    expect(covered).toBeGreaterThanOrEqual(52);
    expect(quantile(stated, 0.5) / quantile(errors, 0.5)).toBeLessThan(5);
    expect(quantile(errors, 0.9)).toBeLessThan(0.1);
  });

  it('the same by a slow search that knows nothing of apertures but their length', () => {
    const pace = { intervalS: 0.5, resolution: 1e-3, noise: 1e-3 };
    for (const [seed, lagS] of [
      [3, 1.35],
      [4, -2.2],
    ] as const) {
      const n = night(seed, lagS, { current: pace, voltage: pace, trains: [] });
      const slow = slowly(n.current, n.voltage, n.steps);
      expect(Math.abs(slow - lagS)).toBeLessThan(0.3);
      expect(Math.abs(aligned(n)!.lagS - slow)).toBeLessThan(0.3);
    }
  });

  it('are left alone where nothing, or one step, or steps of one meter alone say how far', () => {
    expect(aligned(night(5, 1, { wakeUps: [], trains: [] }))).toBeNull();
    const n = night(6, 1);
    expect(aligned({ ...n, steps: n.steps.slice(0, 1) })).toBeNull();
    const elsewhere = makeNight({
      seed: 7,
      durationS: 5400,
      baselineA: 0.025,
      voltage: { intervalS: 0.5, resolution: 1e-3, noise: 1e-3 },
      battery: { restVoltageV: 12.5, sourceResistanceOhm: 0.02 },
    }).input.channels[0]!;
    expect(aligned({ ...n, voltage: condition(elsewhere) })).toBeNull();
  });

  it('a step that one of them missed does not pull the others', () => {
    const n = night(8, 0.8);
    const alone = aligned(n)!;
    const more = aligned({ ...n, steps: [...n.steps, 1500, 2000] })!;
    expect(Math.abs(more.lagS - alone.lagS)).toBeLessThan(2 * alone.standardU);
    expect(more.steps).toBeLessThanOrEqual(n.steps.length);
  });
});

describe('one meter whose packets hold both quantities', () => {
  const pace = { intervalS: 0.25, resolution: 1e-3, noise: 1e-3 };
  /** The voltage in each packet is the one of so many readings before. */
  const packets = (seed: number, readings: number) => {
    const { input, steps } = night(seed, 0, { current: pace, voltage: pace });
    const [current, voltage] = input.channels as [(typeof input.channels)[0], (typeof input.channels)[0]];
    const n = Math.min(current.t.length, voltage.t.length) - readings;
    const together = [
      { ...current, t: current.t.slice(readings, readings + n), y: current.y.slice(readings, readings + n) },
      { ...voltage, t: current.t.slice(readings, readings + n), y: voltage.y.slice(0, n) },
    ];
    const [c, v] = conditionAll(together) as [Conditioned, Conditioned];
    return { input, current: c, voltage: v, steps };
  };

  it('has one clock, and may be a reading apart or, where a file put two meters together, far more', () => {
    for (const readings of [0, 1, 9]) {
      const apart = packets(20, readings);
      expect(apart.voltage.t).toBe(apart.current.t);
      const { lagS, standardU } = aligned(apart)!;
      expect(Math.abs(lagS - 0.25 * readings)).toBeLessThan(2 * standardU);
      expect(standardU).toBeLessThan(0.05);
    }
  });
});

describe('a meter of which nobody said how long a reading takes', () => {
  it('may be off by what that leaves open, and not by more', () => {
    for (let seed = 1; seed <= 12; seed++) {
      const open = { intervalS: 2, apertureS: 0.2 + 0.15 * seed, tellAperture: false };
      const voltage = { ...open, resolution: 1e-3, noise: 1e-3 };
      const found = aligned(night(seed, 0.5, { voltage }))!;
      expect(Math.abs(found.lagS - 0.5)).toBeLessThan(2 * found.standardU);
      expect(found.standardU).toBeGreaterThan(0.28);
    }
  });
});

describe('a night of meters that are seconds apart', () => {
  const pace = { intervalS: 0.25, resolution: 1e-3, noise: 1e-3 };
  const apart = night(9, 2.6, { current: pace, voltage: pace, trains: [] });
  const f = findNight(apart.input);

  it('says so, with its uncertainty', () => {
    const { lagS, steps } = f.recording.alignment!;
    expect(Math.abs(lagS.value - 2.6)).toBeLessThanOrEqual(lagS.expandedUncertainty + 0.02);
    expect(steps).toBeGreaterThan(4);
    const text = describeFindings(f).map((s) => s.text);
    expect(text.find((t) => t.includes('after the other'))).toMatch(
      /^The voltage meter's readings come 2\.\d+ s ± 0\.\d+ s after the other's, by \d+ load steps/,
    );
  });

  it('gives the source resistance that it gives with meters that are together', () => {
    const ohm = f.battery.sourceResistanceOhm!;
    expect(Math.abs(ohm.value / 0.02 - 1)).toBeLessThan(0.1);
    const together = findNight(night(9, 0, { current: pace, voltage: pace, trains: [] }).input);
    expect(Math.abs(ohm.value - together.battery.sourceResistanceOhm!.value)).toBeLessThan(0.002);
    expect(describeFindings(together).map((s) => s.text)).toContainEqual(
      expect.stringMatching(/^The two meters are together to within 0\.\d+ s, by \d+ load steps/),
    );
  });

  it('a clamp on backwards makes no difference', () => {
    const reversed = night(9, 2.6, { current: { ...pace, reversed: true }, voltage: pace, trains: [] });
    const { lagS } = findNight(reversed.input).recording.alignment!;
    expect(Math.abs(lagS.value - f.recording.alignment!.lagS.value)).toBeLessThan(0.05);
  });
});
