import { columnsOf, type SampleColumns } from '../samples/columns.ts';
import { createCar, type VirtualCar } from './car.ts';
import { createMeter, type VirtualMeter } from './meter.ts';
import type { Scenario } from './scenario.ts';
import { truthOf, type Truth } from './truth.ts';

export interface Night {
  readonly clamp: SampleColumns;
  readonly voltmeter: SampleColumns;
  readonly truth: Truth;
}

/**
 * A whole recording at once: the readings that arrive within `durationS` of the car's time 0, with their
 * arrival times, and what really happened.
 */
export function makeNight(scenario: Scenario, seed: number, durationS = scenario.nightS): Night {
  const car: VirtualCar = createCar(scenario, seed);
  return {
    clamp: readingsOf(createMeter(scenario.clamp, car), durationS),
    voltmeter: readingsOf(createMeter(scenario.voltmeter, car), durationS),
    truth: truthOf(car, durationS),
  };
}

function readingsOf(meter: VirtualMeter, durationS: number): SampleColumns {
  const t: number[] = [];
  const counts: number[] = [];
  for (let index = 0; meter.endS(index) <= durationS; index++) {
    const arrivalS = meter.arrivalS(index);
    if (arrivalS === null || arrivalS > durationS) continue;
    if (!meter.inRange(meter.endS(index)) || !meter.inRange(arrivalS)) continue;
    t.push(arrivalS * 1000);
    counts.push(meter.counts(index));
  }
  const scale = new Int8Array(t.length).fill(meter.spec.scale);
  return columnsOf(t, counts, scale, new Uint16Array(t.length));
}
