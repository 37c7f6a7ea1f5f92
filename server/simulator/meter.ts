import type { Quantity } from '../../drivers/core/reading.ts';
import type { VirtualCar } from './car.ts';
import { normalAt, streamOf, uniformAt } from './random.ts';

/** The way from a finished conversion to the program that receives it. Seconds. */
export interface RadioSpec {
  /** Between the end of a conversion and the meter's readiness to send it. */
  readonly latencyS: number;
  /** Readings leave at connection events so far apart, hence in bunches; 0 sends at once. */
  readonly connectionIntervalS: number;
  /** Share of connection events that are missed; what waits goes with the next one. */
  readonly missedEvents: number;
  /** Share of readings that never arrive. */
  readonly loss: number;
  /** Out of range from one time to another. */
  readonly dropouts: readonly { readonly fromS: number; readonly toS: number }[];
}

/** An integrating meter: each reading is a mean over its aperture, off by offset, gain and noise, rounded. */
export interface MeterSpec {
  readonly name: string;
  readonly quantity: Exclude<Quantity, 'temperature'>;
  /** From one conversion to the next; what exceeds the aperture is dead time. */
  readonly intervalS: number;
  readonly apertureS: number;
  /** The last digit, as a power of ten in volts or amperes. */
  readonly scale: number;
  /** The display moves in steps of so many last digits. */
  readonly stepCounts: number;
  /** Standard deviation of one reading, before rounding. */
  readonly noise: number;
  /** Zero error at the start, and how far it moves in an hour. */
  readonly offset: number;
  readonly offsetPerHour: number;
  /** 1 for a perfect meter. */
  readonly gain: number;
  /** Counts beyond these cannot be shown; the display stops there. */
  readonly countsMin: number;
  readonly countsMax: number;
  readonly radio: RadioSpec;
}

/**
 * A meter on the car. It converts whether or not anybody listens, so everything is a pure function of the
 * conversion's index: 0, 1, 2, ... from the car's time 0.
 */
export interface VirtualMeter {
  readonly spec: MeterSpec;
  /** The end of a conversion's aperture, seconds. */
  endS(index: number): number;
  counts(index: number): number;
  /** When the reading arrives, seconds; null where the radio loses it. Never before an earlier reading. */
  arrivalS(index: number): number | null;
  /** The first conversion that ends at or after a time. */
  indexAt(atS: number): number;
  inRange(atS: number): boolean;
}

/** @param isOff whether the meter has nothing to measure at a time, seconds: the clamp taken off, the leads joined */
export function createMeter(
  spec: MeterSpec,
  car: VirtualCar,
  isOff: (atS: number) => boolean = () => false,
): VirtualMeter {
  const { intervalS, apertureS, radio } = spec;
  if (apertureS > intervalS) throw new RangeError('an aperture is longer than the interval');
  const part = (what: string) => streamOf(car.seed, `${spec.name}: ${what}`);
  const noise = part('noise');
  const lost = part('lost readings');
  const missed = part('missed events');
  const eventPhaseS = radio.connectionIntervalS * uniformAt(part('event phase'), 0);
  const digit = 10 ** -spec.scale / spec.stepCounts;
  const mean = spec.quantity === 'current' ? car.meanCurrentA : car.meanVoltageV;

  const endS = (index: number) => (index + 1) * intervalS;

  const counts = (index: number) => {
    const end = endS(index);
    const value =
      (isOff(end) ? 0 : spec.gain * mean(end - apertureS, end)) +
      spec.offset +
      (spec.offsetPerHour * end) / 3600 +
      spec.noise * normalAt(noise, index);
    const shown = Math.round(value * digit) * spec.stepCounts;
    return Math.min(spec.countsMax, Math.max(spec.countsMin, shown)) + 0; // + 0 turns -0 into 0
  };

  const arrivalS = (index: number) => {
    if (radio.loss > 0 && uniformAt(lost, index) < radio.loss) return null;
    const readyS = endS(index) + radio.latencyS;
    if (radio.connectionIntervalS === 0) return readyS;
    let event = Math.ceil((readyS - eventPhaseS) / radio.connectionIntervalS);
    while (uniformAt(missed, event) < radio.missedEvents) event++;
    return eventPhaseS + event * radio.connectionIntervalS;
  };

  return {
    spec,
    endS,
    counts,
    arrivalS,
    indexAt: (atS) => Math.max(0, Math.ceil(atS / intervalS - 1e-9) - 1),
    inRange: (atS) => !radio.dropouts.some((d) => d.fromS <= atS && atS < d.toS),
  };
}
