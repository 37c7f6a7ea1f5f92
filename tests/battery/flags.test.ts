import { describe, expect, it } from 'vitest';
import { findNight, type FindNightOptions } from '../../server/battery/findings.ts';
import { findingsSchema, type Findings, type FlagCode } from '../../server/messages/findings.ts';
import { describeFindings, verdictOf } from '../../server/messages/sentences.ts';
import type { ChannelInput, ZeroCheck } from '../../server/analysis/input.ts';
import { makeNight, type NightSpec } from '../helpers/nights.ts';

const METER = { intervalS: 0.25, resolution: 1e-4, noise: 3e-4 };
const VOLTS = { intervalS: 1, resolution: 1e-3, noise: 1e-3 };
const GOOD: NightSpec = {
  seed: 11,
  durationS: 4 * 3600,
  baselineA: 0.02,
  shutDowns: [
    { atS: 60, dropA: 0.3 },
    { atS: 900, dropA: 0.15 },
  ],
  current: METER,
  voltage: VOLTS,
  battery: { restVoltageV: 12.6, sourceResistanceOhm: 0.02 },
};

function findings(change: Partial<NightSpec>, options: FindNightOptions = {}): Findings {
  return findingsSchema.parse(findNight(makeNight({ ...GOOD, ...change }).input, options));
}
const codes = (f: Findings): FlagCode[] => f.flags.map((x) => x.code);
const flag = (f: Findings, code: FlagCode) => f.flags.find((x) => x.code === code);

describe('flags', () => {
  it('raise nothing to act on for a good car', () => {
    const f = findings({}, { capacityAh: 60 });
    expect(f.flags.filter((x) => x.severity !== 'info')).toEqual([]);
    expect(verdictOf(f).level).toBe('fine');
    expect(codes(f)).toContain('days-until-unreliable');
    expect(codes(f)).toContain('accuracy-not-stated');
  });

  it('put the battery in the unreliable zone first', () => {
    const f = findings({ battery: { restVoltageV: 11.95, sourceResistanceOhm: 0.02 }, baselineA: 0.08 });
    expect(codes(f).slice(0, 2)).toEqual(['battery-unreliable-zone', 'draw-above-limit']);
    expect(verdictOf(f)).toMatchObject({
      level: 'act',
      headline: 'The battery sits in the unreliable zone.',
    });
  });

  it('claim no more than the meter carries near the threshold', () => {
    const battery = { restVoltageV: 12.15, sourceResistanceOhm: 0.02 };
    const exact = findings({ battery });
    expect(flag(exact, 'battery-unreliable-zone')?.severity).toBe('act');
    const coarse = findings({ battery }, { meterAccuracy: '0.5%+3' });
    expect(flag(coarse, 'battery-unreliable-zone')).toMatchObject({ severity: 'watch' });
    expect(flag(coarse, 'battery-unreliable-zone')?.summary).toContain('cannot be told apart');
  });

  it('claim no more than a measured threshold carries', () => {
    const battery = { restVoltageV: 12.3, sourceResistanceOhm: 0.02 };
    const measured = { thresholdV: 12.4, thresholdFrom: 'measured-on-this-car' } as const;
    expect(flag(findings({ battery }, measured), 'battery-unreliable-zone')?.severity).toBe('act');
    const vague = { ...measured, thresholdUncertaintyV: 0.15 };
    const f = flag(findings({ battery }, vague), 'battery-unreliable-zone')!;
    expect(f.severity).toBe('watch');
    expect(f.summary).toContain('not known well enough');
    expect(f.because[0]).toContain('below 12.40 ± 0.15 V (measured on this car)');
    // Above the threshold, but within its doubt.
    const above = { ...vague, thresholdV: 12.2 };
    expect(flag(findings({ battery }, above), 'battery-unreliable-zone')?.severity).toBe('watch');
    expect(codes(findings({ battery }, { ...above, thresholdUncertaintyV: 0.05 }))).not.toContain(
      'battery-unreliable-zone',
    );
  });

  it('claim no more than the meter carries near the draw limit', () => {
    const plain = findings({ baselineA: 0.0515 });
    expect(codes(plain)).toContain('draw-above-limit');
    const withAccuracy = findings({ baselineA: 0.0515 }, { meterAccuracy: '2%+10' });
    expect(codes(withAccuracy)).toContain('draw-near-limit');
    expect(codes(withAccuracy)).not.toContain('draw-above-limit');
    expect(codes(findings({ baselineA: 0.0515 }, { drawLimitA: 0.08 }))).not.toContain('draw-above-limit');
    expect(flag(plain, 'draw-above-limit')?.because[0]).toContain('default');
  });

  it('say that it keeps waking, how often, and whether like clockwork', () => {
    const wakeUps = Array.from({ length: 8 }, (_, i) => ({
      startS: 2000 + 1500 * i,
      durationS: 40,
      amplitudeA: 0.2,
    }));
    const regular = findings({ wakeUps });
    expect(flag(regular, 'keeps-waking')?.summary).toContain('8 times');
    expect(flag(regular, 'keeps-waking')?.because[0]).toContain('25 min, regularly');
    const chance = findings({
      wakeUps: wakeUps.map((w, i) => ({ ...w, startS: w.startS + ((i * 577) % 1300) })),
    });
    expect(flag(chance, 'keeps-waking')?.because[0]).toContain('irregularly');
  });

  it('say that a car never slept, and that a short recording cannot tell', () => {
    expect(codes(findings({ shutDowns: [], baselineA: 0.6 }))).toContain('never-slept');
    const short = findings({ shutDowns: [], baselineA: 0.6, durationS: 120 });
    expect(codes(short)).toContain('recording-too-short');
    expect(verdictOf(short).level).toBe('unknown');
  });

  it('know normal stretching and stopping, and a fob in range', () => {
    const train = (stretches: { startS: number; endS: number; periodS: number }[]) =>
      findings({
        shutDowns: [{ atS: 60, dropA: 0.3 }],
        trains: [{ widthS: 0.03, amplitudeA: 0.8, stretches }],
      });
    const stretched = train([
      { startS: 61, endS: 5000, periodS: 1.1 },
      { startS: 5000.4, endS: 14400, periodS: 2.7 },
    ]);
    expect(codes(stretched)).toContain('polling-stretched-normal');
    const stopped = train([{ startS: 61, endS: 9000, periodS: 1.1 }]);
    expect(codes(stopped)).toContain('polling-stopped-normal');
    expect(codes(stopped)).not.toContain('fob-probably-in-range');
    expect(codes(train([{ startS: 61, endS: 661, periodS: 1.1 }]))).toContain('fob-probably-in-range');
  });

  it('say when the meter is too slow for the polling', () => {
    const f = findings({
      trains: [{ widthS: 0.02, amplitudeA: 0.3, stretches: [{ startS: 61, endS: 14400, periodS: 0.21 }] }],
    });
    expect(f.polling.state).toBe('unresolved');
    expect(codes(f)).toContain('meter-too-slow');
  });

  it('know a reversed clamp and keep its sign', () => {
    const f = findings({ current: { ...METER, reversed: true } });
    expect(codes(f)).toContain('clamp-reversed');
    expect(f.recording.reversed).toBe(true);
    expect(f.sleep.state).toBe('slept');
    expect(f.sleep.settledBaselineA!.value).toBeCloseTo(-0.02, 4);
    expect(f.draw.averageAfterSleepA!.value).toBeCloseTo(-0.02, 4);
  });

  it('say what is missing', () => {
    const current = makeNight(GOOD).input;
    const only = (q: string): Findings =>
      findingsSchema.parse(
        findNight({ ...current, channels: current.channels.filter((c) => c.quantity === q) }),
      );
    expect(codes(only('current'))).toContain('no-voltage-channel');
    expect(codes(only('voltage'))).toContain('no-current-channel');
    expect(only('voltage').sleep.state).toBe('undetermined');
    expect(codes(only('none'))).toEqual(expect.arrayContaining(['no-voltage-channel', 'no-current-channel']));
    expect(verdictOf(only('none')).level).toBe('unknown');
  });

  it('ask for the zero twice, and take it off', () => {
    const night = makeNight({ ...GOOD, current: { ...METER, offset: 0.004 } }).input;
    const withChecks = (...zeroChecks: ZeroCheck[]): Findings =>
      findNight({
        ...night,
        channels: night.channels.map((c) => (c.quantity === 'current' ? { ...c, zeroChecks } : c)),
      });
    const before = { atS: -30, value: 0.004, standardUncertainty: 1e-4 };
    const after = { atS: 4 * 3600 + 30, value: 0.004, standardUncertainty: 1e-4 };
    expect(flag(withChecks(), 'zero-not-checked')?.summary).toContain('not checked');
    expect(flag(withChecks(before), 'zero-not-checked')?.summary).toContain('only once');
    const both = withChecks(before, after);
    expect(codes(both)).not.toContain('zero-not-checked');
    expect(withChecks().sleep.settledBaselineA!.value).toBeCloseTo(0.024, 4);
    expect(Math.abs(both.sleep.settledBaselineA!.value - 0.02)).toBeLessThan(2e-4);
    expect(both.sleep.settledBaselineA!.expandedUncertainty).toBeCloseTo(2e-4, 5);
  });

  it('take the accuracy from the range that the reading lies in, and from the certificate', () => {
    const night = makeNight(GOOD).input;
    const stated = (facts: Partial<ChannelInput>): Findings =>
      findNight({
        ...night,
        channels: night.channels.map((c) => (c.quantity === 'current' ? { ...c, ...facts } : c)),
      });
    const ranges = [
      { upTo: 0.04, accuracy: { percent: 1, digits: 5 }, digit: 1e-4 },
      { upTo: 0.4, accuracy: { percent: 1, digits: 5 }, digit: 1e-3 },
    ];
    const fine = stated({ ranges });
    expect(flag(fine, 'accuracy-not-stated')?.summary).toContain('voltage meter');
    // (1 % of 20 mA + 5 digits of 0.1 mA) / sqrt 3, k = 2.
    expect(fine.sleep.settledBaselineA!.expandedUncertainty).toBeCloseTo((2 * 7e-4) / Math.sqrt(3), 5);
    const coarse = stated({ ranges: ranges.slice(1) });
    expect(coarse.sleep.settledBaselineA!.expandedUncertainty).toBeCloseTo((2 * 5.2e-3) / Math.sqrt(3), 4);
    const calibrated = stated({ calibration: { fixed: 3e-4, relative: 0.02 } });
    expect(calibrated.sleep.settledBaselineA!.expandedUncertainty).toBeCloseTo(2 * Math.hypot(3e-4, 4e-4), 5);
  });

  it('say where the threshold comes from', () => {
    const battery = { restVoltageV: 12.3, sourceResistanceOhm: 0.02 };
    const because = (options: FindNightOptions): string =>
      flag(findings({ battery }, options), 'battery-unreliable-zone')!.because[0]!;
    const measured = { thresholdV: 12.4, thresholdFrom: 'measured-on-this-car' } as const;
    expect(because(measured)).toContain('below 12.40 V (measured on this car)');
    expect(because({ thresholdV: 12.4 })).toContain('set for this car');
    expect(findings({ battery }, measured).battery.thresholdFrom).toBe('measured-on-this-car');
  });

  it('know a charger, and what surface charge it leaves', () => {
    const charger = { startS: -1, endS: 1800, currentA: 2, liftV: 1.2 };
    expect(flag(findings({ charger }), 'charger-connected')).toMatchObject({ severity: 'watch' });
    const surfaceChargeV = 0.3;
    const battery = { restVoltageV: 12.6, sourceResistanceOhm: 0.02, surfaceChargeV, surfaceTauS: 9000 };
    expect(flag(findings({ battery }), 'surface-charge-present')?.because[0]).toMatch(/0\.0\d+ V/);
    expect(codes(findings({}))).not.toContain('surface-charge-present');
  });

  it('miss the slowing down after five days, and only then', () => {
    const polling = (days: number): Findings =>
      findings({
        durationS: days * 86_400,
        shutDowns: [{ atS: 600, dropA: 0.3 }],
        trains: [
          { widthS: 0.3, amplitudeA: 2, stretches: [{ startS: 61, endS: days * 86_400, periodS: 0.97 }] },
        ],
        current: { intervalS: 0.2, resolution: 1e-3, noise: 5e-4 },
        voltage: { intervalS: 60, apertureS: 0.5, resolution: 1e-3, noise: 1e-3 },
      });
    expect(codes(polling(0.2))).not.toContain('polling-does-not-stretch');
    expect(codes(polling(5.3))).toContain('polling-does-not-stretch');
  });

  it('note a step of the clock', () => {
    const night = makeNight({ ...GOOD, clockSteps: [{ atS: 7200, stepS: 3600 }] });
    expect(flag(findNight(night.input), 'clock-stepped')?.because[0]).toBe('By +1 h at 2 h.');
  });

  it('each carry a reason, and a next step where there is something to do', () => {
    const low = { restVoltageV: 11.9, sourceResistanceOhm: 0.02 };
    const all = [findings({ battery: low, baselineA: 0.08 }), findings({ durationS: 300, shutDowns: [] })];
    for (const f of all.flatMap((x) => x.flags)) {
      expect(f.because.length).toBeGreaterThan(0);
      if (f.severity !== 'info') expect(f.next).not.toBeNull();
    }
    const order = { act: 0, watch: 1, info: 2 };
    for (const { flags } of all)
      flags
        .slice(1)
        .forEach((f, i) => expect(order[f.severity]).toBeGreaterThanOrEqual(order[flags[i]!.severity]));
  });

  it('say that a gap is a gap', () => {
    const f = findings({ current: { ...METER, dropouts: [{ startS: 5000, endS: 6200 }] } });
    expect(flag(f, 'gaps-in-recording')?.summary).toContain('20 min');
  });
});

describe('sentences', () => {
  it('speak in trade units with the uncertainty, to the digit that it carries', () => {
    const f = findings({}, { meterAccuracy: '1%+5', capacityAh: 60 });
    const text = describeFindings(f).map((s) => s.text);
    expect(text).toContain('Asleep 15 min after the start.');
    expect(text.some((t) => /settled draw .* 20\.0 mA ± 0\.8 mA/.test(t))).toBe(true);
    expect(text.some((t) => /rest voltage is 12\.\d\d V ± 0\.\d\d? V/.test(t))).toBe(true);
    expect(text.join(' ')).not.toMatch(/NaN|undefined|Infinity|null/);
  });
});
