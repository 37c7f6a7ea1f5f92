import type { ChannelInput, NightInput } from '../../server/analysis/input.ts';
import { rivalsOf, stateOfChargeAt, type Chemistry } from '../../server/battery/tables.ts';
import {
  ChargeCursor,
  layTrain,
  rectangles,
  type Rectangles,
  type TrainSpec,
  type TrainTruth,
} from './load.ts';
import { readings, type MeterSpec } from './meter.ts';
import { Random } from './random.ts';

export type { MeterSpec } from './meter.ts';

/**
 * Seeded nights with exact truth. A reading is the exact integral of the load over the meter's aperture, not
 * a sample of it.
 */
export interface BatterySpec {
  readonly restVoltageV: number;
  readonly sourceResistanceOhm: number;
  readonly surfaceChargeV?: number;
  readonly surfaceTauS?: number;
  readonly chemistry?: Chemistry;
}

export interface NightSpec {
  readonly seed: number;
  readonly durationS: number;
  readonly baselineA: number;
  /** Loads that are on from the start until they shut down. */
  readonly shutDowns?: readonly { readonly atS: number; readonly dropA: number }[];
  readonly trains?: readonly TrainSpec[];
  readonly wakeUps?: readonly {
    readonly startS: number;
    readonly durationS: number;
    readonly amplitudeA: number;
  }[];
  /** Charges with `currentA` (positive) and lifts the voltage by `liftV` while it is on. */
  readonly charger?: {
    readonly startS: number;
    readonly endS: number;
    readonly currentA: number;
    readonly liftV: number;
  };
  /** A step of the wall clock that the recorder noted; its own clock went on evenly. */
  readonly clockSteps?: readonly { readonly atS: number; readonly stepS: number }[];
  readonly current?: MeterSpec;
  readonly voltage?: MeterSpec;
  readonly battery?: BatterySpec;
}

export interface NightTruth {
  readonly timeToSleepS: number;
  readonly trains: readonly (readonly TrainTruth[])[];
  readonly averageAfterSleepA: number;
  readonly averageLastHourA: number;
  readonly totalChargeC: number;
  readonly pollingA: number;
  readonly wakeUpsA: number;
  /** Of a battery of one of the kinds that the tables describe, at a temperature within 20 K of theirs. */
  readonly stateOfCharge: number | null;
}

export interface Night {
  readonly input: NightInput;
  readonly truth: NightTruth;
}

export function makeNight(spec: NightSpec): Night {
  const random = new Random(spec.seed);
  const end = spec.durationS;
  const shut = (spec.shutDowns ?? []).map((s) => ({ startS: -1, durationS: s.atS + 1, amplitudeA: s.dropA }));
  const laid = (spec.trains ?? []).map((t) => layTrain(t, end, random));
  const trains = laid.map((l) => l.rectangles);
  const wake = rectangles(spec.wakeUps ?? []);
  const charger = chargerAs(spec, (c) => -c.currentA);
  const parts: Rectangles[] = [...shut.map((s) => rectangles([s])), wake, charger, ...trains];
  const between = (which: readonly Rectangles[], base: number, a: number, b: number): number =>
    (chargeFrom(which, base)(b) - chargeFrom(which, base)(a)) / (b - a);

  const channels: ChannelInput[] = [];
  const load = (): ((t: number) => number) => chargeFrom(parts, spec.baselineA);
  if (spec.current !== undefined)
    channels.push(readings('current', end, spec.current, random, currentOver(spec.current, load)));
  if (spec.voltage !== undefined && spec.battery !== undefined)
    channels.push(
      readings('voltage', end, spec.voltage, random, voltageOver(spec, spec.voltage, spec.battery, load)),
    );
  const sleepS = Math.max(0, ...(spec.shutDowns ?? []).map((s) => s.atS));
  const told = spec.current?.clockStep === undefined && spec.voltage?.clockStep === undefined;
  return {
    input: {
      startedAt: null,
      durationS: told ? end : null,
      channels,
      clockSteps: spec.clockSteps ?? [],
    },
    truth: {
      timeToSleepS: sleepS,
      trains: laid.map((l) => l.truth),
      averageAfterSleepA: between(parts, spec.baselineA, sleepS, end),
      averageLastHourA: between(parts, spec.baselineA, Math.max(0, end - 3600), end),
      totalChargeC: between(parts, spec.baselineA, 0, end) * end,
      pollingA: between(trains, 0, sleepS, end),
      wakeUpsA: between([wake], 0, sleepS, end),
      stateOfCharge: spec.battery === undefined ? null : trueCharge(spec.battery, spec.seed),
    },
  };
}

/** Charge drawn from 0 to t by a steady current and rectangles; calls with rising t. */
function chargeFrom(which: readonly Rectangles[], base: number): (t: number) => number {
  const cursors = which.map((r) => new ChargeCursor(r));
  return (t) => base * t + cursors.reduce((sum, c) => sum + c.at(t), 0);
}

function chargerAs(spec: NightSpec, height: (c: NonNullable<NightSpec['charger']>) => number): Rectangles {
  const c = spec.charger;
  if (c === undefined) return rectangles([]);
  return rectangles([{ startS: c.startS, durationS: c.endS - c.startS, amplitudeA: height(c) }]);
}

function currentOver(meter: MeterSpec, charge: () => (t: number) => number): (t: number) => number {
  const aperture = meter.apertureS ?? meter.intervalS;
  const from = charge();
  const to = charge();
  const gain = (meter.gain ?? 1) * (meter.reversed === true ? -1 : 1);
  return (t) => {
    const q0 = from(t - aperture);
    return (gain * (to(t) - q0)) / aperture;
  };
}

function voltageOver(
  spec: NightSpec,
  meter: MeterSpec,
  battery: BatterySpec,
  charge: () => (t: number) => number,
): (t: number) => number {
  const aperture = meter.apertureS ?? meter.intervalS;
  const from = charge();
  const to = charge();
  const lift = chargerAs(spec, (c) => c.liftV - c.currentA * battery.sourceResistanceOhm);
  const liftFrom = new ChargeCursor(lift);
  const liftTo = new ChargeCursor(lift);
  const tau = battery.surfaceTauS ?? 3600;
  const surface = battery.surfaceChargeV ?? 0;
  const since = spec.charger?.endS ?? 0;
  const decayed = (t: number): number => tau * Math.exp(-Math.max(0, t - since) / tau);
  return (t) => {
    const a = t - aperture;
    const mean = (to(t) - from(a)) / aperture;
    const lifted = (liftTo.at(t) - liftFrom.at(a)) / aperture;
    const decay = (surface * (decayed(Math.max(a, since)) - decayed(Math.max(t, since)))) / aperture;
    return (meter.gain ?? 1) * (battery.restVoltageV + lifted + decay - battery.sourceResistanceOhm * mean);
  };
}

/** Thermodynamics give 1.5 mV/K for a 12 V battery (from memory). */
const VOLTS_PER_KELVIN = 1.5e-3;

function trueCharge(battery: BatterySpec, seed: number): number {
  const random = new Random(seed * 31 + 7);
  random.next();
  const table = random.pick(rivalsOf(battery.chemistry));
  return stateOfChargeAt(table, battery.restVoltageV - VOLTS_PER_KELVIN * random.between(-20, 20));
}
