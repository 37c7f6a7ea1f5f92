import { describe, expect, it } from 'vitest';
import { createCar } from '../../server/simulator/car.ts';
import { chargeOf } from '../../server/simulator/load.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';

const { live, healthy } = SCENARIOS;
const QUIET_S = 70.4; // asleep, between two door searches

describe('virtual car', () => {
  it('obeys Ohm: the dip is the source resistance times the step in current', () => {
    const car = createCar(live, 1);
    const before = { i: car.currentA(QUIET_S), v: car.voltageV(QUIET_S) };
    car.wake(QUIET_S * 1000);
    const step = car.currentA(QUIET_S) - before.i;
    expect(step).toBeCloseTo(live.liveWake[0]!.currentA, 12);
    expect(before.v - car.voltageV(QUIET_S)).toBeCloseTo(live.battery.sourceResistanceOhm * step, 12);
    expect(before.v).toBeCloseTo(
      live.battery.restV +
        live.battery.surface[0]!.volts * Math.exp(-QUIET_S / live.battery.surface[0]!.decayS) -
        live.battery.sourceResistanceOhm * before.i,
      2,
    );
  });

  it('averages current and voltage exactly over any span', () => {
    const car = createCar(live, 1);
    car.touchHandle(75_000);
    for (const [fromS, toS] of [
      [15.5, 15.6], // across a search
      [75, 75.1], // the touch
      [75.4, 75.6], // unlocking
      [94.9, 95.3], // a wake-up
    ] as const) {
      const n = 40_000;
      let current = 0;
      let voltage = 0;
      for (let k = 0; k < n; k++) {
        const atS = fromS + ((k + 0.5) / n) * (toS - fromS);
        current += car.currentA(atS) / n;
        voltage += car.voltageV(atS) / n;
      }
      expect(car.meanCurrentA(fromS, toS)).toBeCloseTo(current, 3);
      expect(car.meanVoltageV(fromS, toS)).toBeCloseTo(voltage, 4);
      expect(car.meanCurrentA(fromS, toS) * (toS - fromS)).toBeCloseTo(
        car.chargeC(toS) - car.chargeC(fromS),
        9,
      );
    }
  });

  it('lets the rest voltage sink with the charge drawn, and averages that too', () => {
    const steep = { ...live.battery, restV: 14, fallVPerAh: 36, surface: [], sourceResistanceOhm: 0 };
    const modules = [{ name: 'lamp', stages: [], asleepA: 1 }];
    const car = createCar({ ...live, battery: steep, modules, oneOffs: [], wakeUps: [], polling: null }, 1);
    expect(car.voltageV(100)).toBeCloseTo(13, 9); // 100 C at 10 mV each
    expect(car.meanVoltageV(50, 100)).toBeCloseTo(13.25, 9);
  });

  it('is the same car for the same seed, whoever asked first, and another for another seed', () => {
    const starts = (seed: number, toS: number) =>
      createCar(live, seed)
        .eventsUntil(toS)
        .map((e) => e.startS);
    const asked = createCar(live, 5);
    for (let atS = 0; atS < 4000; atS += 1.7) asked.currentA(atS);
    expect(asked.eventsUntil(4000).map((e) => e.startS)).toEqual(starts(5, 4000));
    expect(starts(5, 4000).slice(0, 5)).toEqual(starts(5, 700).slice(0, 5));
    expect(starts(6, 4000)).not.toEqual(starts(5, 4000));
  });

  it('wakes at intervals within the scatter, and by hand when told', () => {
    const car = createCar(live, 9);
    const wakes = car.eventsUntil(10_000).filter((e) => e.kind === 'wake-up');
    expect(wakes.length).toBeGreaterThan(45);
    const intervals = wakes.slice(1).map((w, i) => w.startS - wakes[i]!.startS);
    for (const interval of intervals) expect(Math.abs(interval - 180)).toBeLessThanOrEqual(40);
    expect(Math.min(...intervals)).toBeLessThan(160);
    expect(Math.max(...intervals)).toBeGreaterThan(200);

    const before = car.chargeC(80) - car.chargeC(60);
    car.wake(62_000);
    expect(car.chargeC(80) - car.chargeC(60)).toBeCloseTo(before + chargeOf(live.liveWake), 9);
    expect(car.eventsUntil(63).at(-1)).toMatchObject({ what: 'woken by hand', startS: 62 });
  });

  it('opens on the handle with a good battery and stays shut with a low one', () => {
    const opened = createCar(live, 1).touchHandle(QUIET_S * 1000);
    expect(opened.answered).toBe(true);
    const low = createCar({ ...live, battery: { ...live.battery, restV: 11.6 } }, 1);
    const shut = low.touchHandle(QUIET_S * 1000);
    expect(shut.answered).toBe(false);
    expect(opened.searchV - shut.searchV).toBeCloseTo(12.38 - 11.6, 6);
    expect(low.chargeC(90) - low.chargeC(70)).toBeLessThan(5); // no motors, no open door
  });

  it('goes to sleep in the steps that its modules take', () => {
    const car = createCar({ ...healthy, polling: null }, 1);
    expect(car.currentA(1) - car.currentA(50)).toBeCloseTo(2.6 + 1.05, 9);
    expect(car.currentA(19 * 60) - car.currentA(21 * 60)).toBeCloseTo(0.12 - 0.0007, 9);
    expect(car.currentA(29 * 60) - car.currentA(31 * 60)).toBeCloseTo(0.2 - 0.003, 9);
    expect(car.currentA(46 * 60)).toBeCloseTo(0.02, 9);
  });
});
