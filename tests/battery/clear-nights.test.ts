import { describe, expect, it } from 'vitest';
import { findNight } from '../../server/battery/findings.ts';
import { findingsSchema, type Findings } from '../../server/messages/findings.ts';
import { makeNight, type Night, type NightSpec } from '../helpers/nights.ts';

/** A clear night: shut-downs of published sizes and times, polling that stretches and stops, two wake-ups. */
const WHOLE: NightSpec = {
  seed: 1,
  durationS: 8 * 3600,
  baselineA: 0.025,
  shutDowns: [
    { atS: 40, dropA: 0.07 },
    { atS: 1200, dropA: 0.1193 },
    { atS: 1800, dropA: 0.2 },
    { atS: 2700, dropA: 0.21 },
  ],
  trains: [
    {
      widthS: 0.02,
      amplitudeA: 0.6,
      stretches: [
        { startS: 60.3, endS: 9000, periodS: 0.75 },
        { startS: 9000.1, endS: 20000, periodS: 2.25 },
      ],
    },
  ],
  wakeUps: [
    { startS: 7000.3, durationS: 40, amplitudeA: 0.2 },
    { startS: 12000, durationS: 61.7, amplitudeA: 0.35 },
  ],
  current: { intervalS: 0.1, resolution: 1e-4, noise: 5e-4 },
  voltage: { intervalS: 0.5, resolution: 1e-3, noise: 1e-3 },
  battery: { restVoltageV: 12.41, sourceResistanceOhm: 0.02, surfaceChargeV: 0.2, surfaceTauS: 5400 },
};

function analysed(spec: NightSpec, options = {}): { f: Findings; night: Night } {
  const night = makeNight(spec);
  return { f: findingsSchema.parse(findNight(night.input, options)), night };
}

describe('a whole clear night', () => {
  const { f, night } = analysed(WHOLE, { capacityAh: 60, chemistry: 'flooded' });

  it('finds the shut-down steps and the time to sleep', () => {
    expect(f.sleep.state).toBe('slept');
    expect(Math.abs(f.sleep.timeToSleepS! - night.truth.timeToSleepS)).toBeLessThan(1);
    expect(f.sleep.steps.map((s) => Math.round(s.atS))).toEqual([40, 1200, 1800, 2700]);
    const drops = f.sleep.steps.map((s) => s.fromA - s.toA);
    [0.07, 0.1193, 0.2, 0.21].forEach((d, i) => expect(Math.abs(drops[i]! - d)).toBeLessThan(1e-3));
    expect(Math.abs(f.sleep.settledBaselineA!.value - 0.025)).toBeLessThan(0.02 * 0.025);
  });

  it('times both stretches of the polling and its stop', () => {
    expect(f.polling).toMatchObject({ state: 'stopped', seenIn: 'current', candidatePeriodsS: [] });
    expect(f.polling.regimes).toHaveLength(2);
    night.truth.trains[0]!.forEach((truth, i) => {
      const r = f.polling.regimes[i]!;
      expect(Math.abs(r.periodS!.value / truth.periodS - 1)).toBeLessThan(1e-5);
      expect(Math.abs(r.pulses / truth.pulses - 1)).toBeLessThan(0.01);
      expect(Math.abs(r.startS - truth.firstS)).toBeLessThan(truth.periodS);
      expect(Math.abs(r.endS - truth.lastS)).toBeLessThan(truth.periodS);
      expect(Math.abs(r.averageA!.value / truth.averageA - 1)).toBeLessThan(0.02);
      expect(Math.abs(r.chargePerPulseC!.value / truth.chargePerPulseC - 1)).toBeLessThan(0.02);
      expect(r.widthS).toBeNull();
    });
    expect(Math.abs(f.polling.stoppedAtS! - night.truth.trains[0]![1]!.lastS)).toBeLessThan(3 * 2.25);
  });

  it('finds both wake-ups, none else, and their charge without the polling under them', () => {
    expect(f.wakeUps).toHaveLength(2);
    f.wakeUps.forEach((w, i) => {
      const truth = WHOLE.wakeUps![i]!;
      expect(Math.abs(w.startS - truth.startS)).toBeLessThan(0.5);
      expect(Math.abs(w.durationS - truth.durationS)).toBeLessThan(0.5);
      expect(Math.abs(w.chargeC / (truth.durationS * truth.amplitudeA) - 1)).toBeLessThan(0.03);
    });
  });

  it('draws up the budget', () => {
    const { draw } = f;
    expect(Math.abs(draw.averageAfterSleepA!.value / night.truth.averageAfterSleepA - 1)).toBeLessThan(0.005);
    expect(Math.abs(draw.averageLastHourA!.value / night.truth.averageLastHourA - 1)).toBeLessThan(0.005);
    expect(Math.abs(draw.totalChargeC!.value / night.truth.totalChargeC - 1)).toBeLessThan(0.005);
    expect(Math.abs(draw.budget.pollingA! - night.truth.pollingA)).toBeLessThan(2e-4);
    expect(Math.abs(draw.budget.wakeUpsA! - night.truth.wakeUpsA)).toBeLessThan(1e-4);
    const parts = draw.budget.baselineA! + draw.budget.pollingA! + draw.budget.wakeUpsA!;
    expect(Math.abs(parts - draw.averageAfterSleepA!.value)).toBeLessThan(1e-4);
  });

  it('sees the rest voltage under the surface charge, and the source resistance', () => {
    expect(Math.abs(f.battery.restVoltageV!.value - 12.41)).toBeLessThan(0.01);
    expect(f.battery.stateOfCharge!.value).toBeCloseTo(0.7024, 1);
    expect(Math.abs(f.battery.sourceResistanceOhm!.value / 0.02 - 1)).toBeLessThan(0.1);
    expect(f.battery).toMatchObject({
      table: 'flooded, table A',
      thresholdV: 12.17,
      thresholdFrom: 'default',
    });
  });
});
