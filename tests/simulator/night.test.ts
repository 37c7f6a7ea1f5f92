import { describe, expect, it } from 'vitest';
import { liveSeries } from '../../server/samples/columns.ts';
import { createCar } from '../../server/simulator/car.ts';
import { makeNight } from '../../server/simulator/night.ts';
import type { Scenario } from '../../server/simulator/scenario.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';

const all = Object.values(SCENARIOS) as readonly Scenario[];

describe('a night', () => {
  it('is the same for the same seed and another for another', () => {
    const a = makeNight(SCENARIOS.stretching, 8, 600);
    expect(makeNight(SCENARIOS.stretching, 8, 600)).toEqual(a);
    expect(makeNight(SCENARIOS.stretching, 9, 600).clamp.counts).not.toEqual(a.clamp.counts);
  });

  it('of 8 hours at 10 readings a second is made in seconds', () => {
    const scenario = {
      ...SCENARIOS.healthy,
      clamp: SCENARIOS.live.clamp,
      voltmeter: SCENARIOS.live.voltmeter,
    };
    const started = performance.now();
    const night = makeNight(scenario, 1, 8 * 3600);
    expect(performance.now() - started).toBeLessThan(8000); // about 0.5 s on a free machine
    expect(night.clamp.length).toBeGreaterThan(287_990);
  });

  it.each(all)('$name: readings add up to the charge that was drawn', (scenario) => {
    const { clamp, truth } = makeNight(scenario, 2);
    const { y } = liveSeries(clamp);
    const charge = y.reduce((sum, a) => sum + a * scenario.clamp.intervalS, 0);
    expect(Math.abs(charge / truth.totalChargeC - 1)).toBeLessThan(0.005);
  });

  it.each(all)('$name: the budget closes', (scenario) => {
    const { truth } = makeNight(scenario, 2);
    const { baselineA, pollingA, wakeUpsA } = truth.budget!;
    expect(baselineA + pollingA + wakeUpsA).toBeCloseTo(truth.averageAfterSleepA!, 12);
    const asleepS = truth.durationS - truth.timeToSleepS!;
    const whole = truth.wakeUps.filter((w) => w.startS + w.durationS <= truth.durationS);
    const charge = whole.reduce((sum, w) => sum + w.chargeC, 0);
    const cut = truth.wakeUps.length - whole.length;
    expect(Math.abs(wakeUpsA * asleepS - charge)).toBeLessThan(1e-6 + cut * 20);
  });
});

describe('truth', () => {
  it('of a night cut short says that the car was still awake', () => {
    const { truth } = makeNight(SCENARIOS.healthy, 1, 1500);
    expect(truth.timeToSleepS).toBeNull();
    expect(truth.averageAfterSleepA).toBeNull();
    expect(truth.budget).toBeNull();
    expect(truth.averageLastHourA).toBeNull();
    expect(truth.steps.at(-1)!.atS).toBe(1200);
  });

  it('merges what changes at the same moment into one step', () => {
    const { steps } = makeNight(SCENARIOS.healthy, 1).truth;
    expect(steps.map((s) => s.atS)).toEqual([25, 42, 60, 100, 1200, 1800, 2700]);
    expect(steps.at(-1)!.toA).toBeCloseTo(0.02, 12);
    steps.slice(1).forEach((s, i) => expect(s.fromA).toBe(steps[i]!.toA));
  });

  it('counts the pulses of each regime as the car makes them', () => {
    const { truth } = makeNight(SCENARIOS.stretching, 1);
    const car = createCar({ ...SCENARIOS.stretching, modules: [], oneOffs: [], wakeUps: [] }, 1);
    expect(truth.polling.regimes).toHaveLength(3);
    for (const r of truth.polling.regimes) {
      const charge = car.chargeC(r.endS + r.periodS) - car.chargeC(r.startS);
      const next = truth.polling.regimes.find((n) => n.startS === r.endS);
      const strangers = next ? Math.ceil(r.periodS / next.periodS) : 0;
      expect(charge / r.chargePerPulseC - strangers).toBeCloseTo(r.pulses, 6);
      expect(r.pulses).toBe(Math.ceil((r.endS - r.startS) / r.periodS));
    }
    expect(truth.polling.stoppedAtS).toBe(155 * 60);
  });

  it('averages the last hour over one hour', () => {
    const { truth } = makeNight(SCENARIOS.stretching, 1);
    const car = createCar(SCENARIOS.stretching, 1);
    const endS = truth.durationS;
    expect(truth.averageLastHourA! * 3600).toBeCloseTo(car.chargeC(endS) - car.chargeC(endS - 3600), 6);
  });

  it('gives the rest voltage at the end, without load and surface charge', () => {
    const { truth } = makeNight(SCENARIOS['low-auxiliary'], 1);
    expect(truth.restVoltageV).toBeCloseTo(11.98 - (0.024 * truth.totalChargeC) / 3600, 12);
  });
});
