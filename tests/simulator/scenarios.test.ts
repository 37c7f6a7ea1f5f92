import { describe, expect, it } from 'vitest';
import { liveSeries } from '../../server/samples/columns.ts';
import { createCar } from '../../server/simulator/car.ts';
import { makeNight } from '../../server/simulator/night.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';

describe('scenarios', () => {
  it.each(Object.entries(SCENARIOS))('%s says in one sentence what it is', (name, scenario) => {
    expect(scenario.name).toBe(name);
    expect(scenario.description).toMatch(/^[A-Z].{30,200}\.$/);
    expect(scenario.description.slice(0, -1)).not.toContain('. ');
  });

  it('short-night: awake at 1 A, three steps to 20 mA by 20 s, two searches a second, one wake-up', () => {
    const { truth, clamp, voltmeter } = makeNight(SCENARIOS['short-night'], 1);
    expect(truth.steps).toHaveLength(3);
    expect(truth.steps[0]!.fromA).toBeCloseTo(1, 1);
    expect(truth.timeToSleepS).toBe(20);
    expect(truth.baselineA).toBeCloseTo(0.02, 12);
    expect(truth.polling.regimes).toMatchObject([{ periodS: 0.5, widthS: 0.06, amplitudeA: 0.6 }]);
    expect(truth.wakeUps).toMatchObject([{ startS: 55, durationS: 5 }]);
    expect([clamp.length, voltmeter.length]).toEqual([1799, 1799]);
  });

  it('live: asleep within a minute, and every search stands out of the readings', () => {
    const { truth, clamp } = makeNight(SCENARIOS.live, 1, 90);
    expect(truth.timeToSleepS).toBeLessThan(60);
    const { t, y } = liveSeries(clamp);
    const asleep = y.filter((_, i) => t[i]! > 60.2 && t[i]! < 89.9);
    const high = asleep.filter((a) => a > 0.15).length;
    expect(high).toBeGreaterThanOrEqual(28);
    expect(high).toBeLessThanOrEqual(60); // one or two readings each
  });

  it('live: the handle works, and the dip shows', () => {
    const car = createCar(SCENARIOS.live, 1);
    const { answered, searchV } = car.touchHandle(80_000);
    expect(answered).toBe(true);
    expect(car.voltageV(79.9) - searchV).toBeGreaterThan(0.03);
  });

  it('low-auxiliary: rests below 12 V, and the handle is not answered', () => {
    const { truth } = makeNight(SCENARIOS['low-auxiliary'], 1);
    expect(truth.restVoltageV).toBeLessThan(12);
    expect(truth.averageAfterSleepA).toBeGreaterThan(0.05);
    expect(truth.wakeUps.map((w) => w.what)).toEqual(Array(3).fill('handle touched'));
    expect(Math.max(...truth.wakeUps.map((w) => w.peakA))).toBeLessThan(3); // no motors ran
  });

  it('keeps-waking: some fifty wake-ups lift the average above 50 mA', () => {
    const { truth } = makeNight(SCENARIOS['keeps-waking'], 1);
    expect(truth.wakeUps.length).toBeGreaterThan(40);
    expect(truth.baselineA).toBeLessThan(0.03);
    expect(truth.averageAfterSleepA).toBeGreaterThan(0.05);
  });

  it('healthy: below 50 mA, polling at one pace', () => {
    const { truth } = makeNight(SCENARIOS.healthy, 1);
    expect(truth.averageAfterSleepA).toBeLessThan(0.045);
    expect(truth.polling.regimes).toHaveLength(1);
    expect(truth.polling.stoppedAtS).toBeNull();
  });
});
