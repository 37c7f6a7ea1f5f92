import { meanSurfaceVoltage, restVoltage, surfaceVoltage } from './battery.ts';
import { durationOf, peakOf, PulseTrain, StepLoad, type Load, type Segment } from './load.ts';
import { streamOf, uniformAt } from './random.ts';
import type { Scenario, WakeUpSpec } from './scenario.ts';

/** Something that happened to the car, planned or by hand. Seconds from the car's time 0. */
export interface CarEvent {
  readonly kind: 'wake-up' | 'handle' | 'one-off';
  readonly what: string;
  readonly startS: number;
  readonly profile: readonly Segment[];
}

export interface HandleOutcome {
  readonly answered: boolean;
  /** Lowest voltage at the posts while the car searched for the fob. */
  readonly searchV: number;
}

/**
 * A car with a 12 V battery, as a function of time. Current is positive when it leaves the battery. Means
 * are exact integrals over the span divided by its length.
 */
export interface VirtualCar {
  readonly scenario: Scenario;
  readonly seed: number;
  readonly trains: readonly PulseTrain[];
  /** What starts before `toS`, in order. */
  eventsUntil(toS: number): readonly CarEvent[];
  currentA(atS: number): number;
  /** Drawn since time 0. */
  chargeC(atS: number): number;
  meanCurrentA(fromS: number, toS: number): number;
  voltageV(atS: number): number;
  meanVoltageV(fromS: number, toS: number): number;
  /** Somebody pulls the handle, now or later; milliseconds of the car's time. */
  touchHandle(atMs: number): HandleOutcome;
  /** Something wakes the car for a few seconds; milliseconds of the car's time. */
  wake(atMs: number): void;
}

export function createCar(scenario: Scenario, seed: number): VirtualCar {
  const { battery, handle } = scenario;
  const steps = new StepLoad();
  const trains = (scenario.polling?.regimes ?? []).map(
    (regime, i) =>
      new PulseTrain(
        {
          startS: regime.fromS,
          endS: regime.toS,
          periodS: regime.periodS,
          shape: scenario.polling!.shape,
          jitterS: scenario.polling!.jitterS,
        },
        streamOf(seed, `polling ${i}`),
      ),
  );
  const loads: readonly Load[] = [steps, ...trains];
  const events: CarEvent[] = [];

  const repeating = scenario.wakeUps.map((spec) => repeat(spec, seed));

  /** Wake-ups repeat for ever, so they enter the load no earlier than somebody looks at their time. */
  const planUntil = (atS: number) => {
    for (const source of repeating) {
      for (let startS = source.next(atS); startS !== null; startS = source.next(atS)) {
        happen({ kind: 'wake-up', what: source.spec.cause, startS, profile: source.spec.profile });
      }
    }
  };
  const currentA = (atS: number) => {
    planUntil(atS);
    return loads.reduce((sum, load) => sum + load.currentA(atS), 0);
  };
  const chargeC = (atS: number) => {
    planUntil(atS);
    return loads.reduce((sum, load) => sum + load.chargeC(atS), 0);
  };
  const meanCurrentA = (fromS: number, toS: number) => (chargeC(toS) - chargeC(fromS)) / (toS - fromS);
  const voltageV = (atS: number) =>
    restVoltage(battery, chargeC(atS)) +
    surfaceVoltage(battery, atS) -
    battery.sourceResistanceOhm * currentA(atS);
  const meanVoltageV = (fromS: number, toS: number) => {
    const before = chargeC(fromS);
    const after = chargeC(toS);
    // The rest voltage sinks within one aperture by less than a microvolt, so its mean is taken as midway.
    return (
      restVoltage(battery, (before + after) / 2) +
      meanSurfaceVoltage(battery, fromS, toS) -
      (battery.sourceResistanceOhm * (after - before)) / (toS - fromS)
    );
  };

  const happen = (event: CarEvent) => {
    steps.add(event.startS, event.profile);
    const after = events.findIndex((e) => e.startS > event.startS);
    events.splice(after < 0 ? events.length : after, 0, event);
  };

  const touch = (atS: number): HandleOutcome => {
    // What the fob hears depends on the voltage while the antennas draw their current, on top of the rest.
    const searchV = voltageV(atS) - battery.sourceResistanceOhm * peakOf(handle.search);
    const answered = searchV >= handle.answersAboveV;
    const profile = [...handle.search, ...(answered ? handle.answered : handle.unanswered)];
    happen({ kind: 'handle', what: 'handle touched', startS: atS, profile });
    return { answered, searchV };
  };

  for (const module of scenario.modules) {
    let fromS = 0;
    const stages = [...module.stages, { untilS: Infinity, currentA: module.asleepA }];
    for (const { untilS, currentA: stageA } of stages) {
      steps.add(fromS, [{ durationS: untilS - fromS, currentA: stageA }]);
      fromS = untilS;
    }
  }
  for (const oneOff of scenario.oneOffs) {
    happen({ kind: 'one-off', what: oneOff.what, startS: oneOff.atS, profile: oneOff.profile });
  }
  for (const atS of handle.touchesAtS) touch(atS);

  return {
    scenario,
    seed,
    trains,
    eventsUntil: (toS) => {
      planUntil(toS);
      return events.filter((e) => e.startS < toS);
    },
    currentA,
    chargeC,
    meanCurrentA,
    voltageV,
    meanVoltageV,
    touchHandle: (atMs) => touch(atMs / 1000),
    wake: (atMs) =>
      happen({ kind: 'wake-up', what: 'woken by hand', startS: atMs / 1000, profile: scenario.liveWake }),
  };
}

interface Repeating {
  readonly spec: WakeUpSpec;
  /** The next start, if it is not after `atS`; then that one is used up. */
  next(atS: number): number | null;
}

function repeat(spec: WakeUpSpec, seed: number): Repeating {
  const { when } = spec;
  let used = 0;
  if ('atS' in when) {
    return { spec, next: (atS) => ((when.atS[used] ?? Infinity) <= atS ? when.atS[used++]! : null) };
  }
  if (durationOf(spec.profile) + when.scatterS > when.everyS) {
    throw new RangeError('a wake-up is longer than its interval');
  }
  const stream = streamOf(seed, `wake-ups: ${spec.cause}`);
  let dueS = when.firstS;
  return {
    spec,
    next(atS) {
      if (dueS > atS) return null;
      const startS = dueS;
      dueS += when.everyS + when.scatterS * (2 * uniformAt(stream, used++) - 1);
      return startS;
    },
  };
}
