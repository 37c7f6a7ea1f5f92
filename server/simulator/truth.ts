import { restVoltage } from './battery.ts';
import type { CarEvent, VirtualCar } from './car.ts';
import { chargeOf, durationOf, peakOf, type PulseTrain } from './load.ts';

/**
 * What really happened in a recording of `durationS` from the car's time 0, by construction: the figures
 * that a perfect analysis would find. Seconds, amperes, coulombs, volts, ohms.
 */
export interface Truth {
  readonly durationS: number;
  /** Null: it was still awake at the end. */
  readonly timeToSleepS: number | null;
  readonly steps: readonly { readonly atS: number; readonly fromA: number; readonly toA: number }[];
  readonly baselineA: number;
  readonly polling: {
    readonly regimes: readonly RegimeTruth[];
    /** When the door search ended for good, if it did. */
    readonly stoppedAtS: number | null;
  };
  /** After the car had gone to sleep; handle touches are among them. Charge is above everything else. */
  readonly wakeUps: readonly WakeUpTruth[];
  readonly totalChargeC: number;
  readonly averageAfterSleepA: number | null;
  readonly averageLastHourA: number | null;
  /** Shares of `averageAfterSleepA`; they add up to it. */
  readonly budget: {
    readonly baselineA: number;
    readonly pollingA: number;
    readonly wakeUpsA: number;
  } | null;
  /** Without load and without surface charge, at the end. */
  readonly restVoltageV: number;
  readonly sourceResistanceOhm: number;
}

export interface RegimeTruth {
  readonly startS: number;
  readonly endS: number;
  readonly periodS: number;
  readonly widthS: number;
  readonly amplitudeA: number;
  readonly chargePerPulseC: number;
  readonly pulses: number;
  readonly averageA: number;
}

export interface WakeUpTruth {
  readonly what: string;
  readonly startS: number;
  readonly durationS: number;
  readonly peakA: number;
  readonly chargeC: number;
}

export function truthOf(car: VirtualCar, durationS: number): Truth {
  const { scenario } = car;
  const baselineA = scenario.modules.reduce((sum, m) => sum + m.asleepA, 0);
  const steps = shutDownSteps(car).filter((s) => s.atS < durationS);
  const lastStepS = Math.max(0, ...shutDownSteps(car).map((s) => s.atS));
  const asleep = lastStepS < durationS;
  const wakeUps = asleep ? wakeUpsOf(car.eventsUntil(durationS), lastStepS) : [];
  const total = car.chargeC(durationS);
  const average = (fromS: number) => car.meanCurrentA(fromS, durationS);
  const pollingC = car.trains.reduce((sum, t) => sum + t.chargeC(durationS) - t.chargeC(lastStepS), 0);
  const regimes = car.trains.filter((t) => t.spec.startS < durationS).map((t) => regimeOf(t, durationS));
  const pollingEndS = car.trains.at(-1)?.spec.endS ?? Infinity;
  const asleepS = durationS - lastStepS;

  return {
    durationS,
    timeToSleepS: asleep ? lastStepS : null,
    steps,
    baselineA,
    polling: { regimes, stoppedAtS: pollingEndS < durationS ? pollingEndS : null },
    wakeUps,
    totalChargeC: total,
    averageAfterSleepA: asleep ? average(lastStepS) : null,
    averageLastHourA: durationS >= 3600 ? average(durationS - 3600) : null,
    budget: asleep
      ? {
          baselineA,
          pollingA: pollingC / asleepS,
          wakeUpsA: (total - car.chargeC(lastStepS) - pollingC) / asleepS - baselineA,
        }
      : null,
    restVoltageV: restVoltage(scenario.battery, total),
    sourceResistanceOhm: scenario.battery.sourceResistanceOhm,
  };
}

/** Where the sum of all modules' draw changes; modules that change together make one step. */
function shutDownSteps({ scenario: { modules } }: VirtualCar): Truth['steps'] {
  const times = [...new Set(modules.flatMap((m) => m.stages.map((s) => s.untilS)))].sort((a, b) => a - b);
  const drawAt = (atS: number) =>
    modules.reduce((sum, m) => sum + (m.stages.find((s) => atS < s.untilS)?.currentA ?? m.asleepA), 0);
  let fromA = drawAt(0);
  return times.map((atS) => {
    const step = { atS, fromA, toA: drawAt(atS) };
    fromA = step.toA;
    return step;
  });
}

function wakeUpsOf(events: readonly CarEvent[], fromS: number): WakeUpTruth[] {
  return events
    .filter((e) => e.startS >= fromS)
    .map((e) => ({
      what: e.what,
      startS: e.startS,
      durationS: durationOf(e.profile),
      peakA: peakOf(e.profile),
      chargeC: chargeOf(e.profile),
    }));
}

function regimeOf(train: PulseTrain, durationS: number): RegimeTruth {
  const { startS, endS, periodS, shape } = train.spec;
  return {
    startS,
    endS: Math.min(endS, durationS),
    periodS,
    widthS: durationOf(shape),
    amplitudeA: peakOf(shape),
    chargePerPulseC: train.chargePerPulseC,
    pulses: train.startedBefore(Math.min(endS, durationS)),
    averageA: train.chargePerPulseC / periodS,
  };
}
