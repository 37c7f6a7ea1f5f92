import type { Accuracy, ChannelInput, NightInput } from '../../server/analysis/input.ts';
import {
  ChargeCursor,
  layTrain,
  rectangles,
  type Rectangles,
  type TrainSpec,
  type TrainTruth,
} from './load.ts';
import { Random } from './random.ts';

/**
 * Seeded nights with exact truth. A reading is the exact integral of the load over the meter's aperture, not
 * a sample of it; then come offset, noise and the display's last digit.
 */
export interface MeterSpec {
  readonly intervalS: number;
  /** Default: the interval (back-to-back conversions). */
  readonly apertureS?: number;
  readonly resolution: number;
  readonly noise: number;
  readonly offset?: number;
  /** Offset that wanders with temperature: amplitude of a half sine over the night. */
  readonly offsetDrift?: number;
  readonly gain?: number;
  /** Readings arrive late by up to this, evenly distributed. */
  readonly radioJitterS?: number;
  /** Readings arrive in bunches at multiples of this. */
  readonly bunchS?: number;
  readonly lossFraction?: number;
  readonly dropouts?: readonly { readonly startS: number; readonly endS: number }[];
  /** Above this the meter changes range: a blank reading at each change and a coarser last digit. */
  readonly autoRange?: { readonly aboveA: number; readonly resolution: number };
  readonly reversed?: boolean;
  /** What the analysis is told. */
  readonly accuracy?: Accuracy;
  readonly tellAperture?: boolean;
  readonly tellResolution?: boolean;
}

export interface BatterySpec {
  readonly restVoltageV: number;
  readonly sourceResistanceOhm: number;
  readonly surfaceChargeV?: number;
  readonly surfaceTauS?: number;
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
}

export interface Night {
  readonly input: NightInput;
  readonly truth: NightTruth;
}

export function makeNight(spec: NightSpec): Night {
  const random = new Random(spec.seed);
  const shut = (spec.shutDowns ?? []).map((s) => ({ startS: -1, durationS: s.atS + 1, amplitudeA: s.dropA }));
  const laid = (spec.trains ?? []).map((t) => layTrain(t, spec.durationS, random));
  const wake = rectangles(spec.wakeUps ?? []);
  const parts: Rectangles[] = [...shut.map((s) => rectangles([s])), wake, ...laid.map((l) => l.rectangles)];
  const chargeFrom = (which: readonly Rectangles[], base: number): ((t: number) => number) => {
    const cursors = which.map((r) => new ChargeCursor(r));
    return (t) => base * t + cursors.reduce((sum, c) => sum + c.at(t), 0);
  };
  const between = (which: readonly Rectangles[], base: number, a: number, b: number): number =>
    (chargeFrom(which, base)(b) - chargeFrom(which, base)(a)) / (b - a);

  const sleepS = Math.max(0, ...(spec.shutDowns ?? []).map((s) => s.atS));
  const end = spec.durationS;
  const trainRectangles = laid.map((l) => l.rectangles);
  const channels: ChannelInput[] = [];
  if (spec.current !== undefined)
    channels.push(currentChannel(spec, spec.current, () => chargeFrom(parts, spec.baselineA), random));
  if (spec.voltage !== undefined && spec.battery !== undefined)
    channels.push(
      voltageChannel(spec, spec.voltage, spec.battery, () => chargeFrom(parts, spec.baselineA), random),
    );
  return {
    input: { startedAt: null, durationS: spec.durationS, channels, clockSteps: [] },
    truth: {
      timeToSleepS: sleepS,
      trains: laid.map((l) => l.truth),
      averageAfterSleepA: between(parts, spec.baselineA, sleepS, end),
      averageLastHourA: between(parts, spec.baselineA, Math.max(0, end - 3600), end),
      totalChargeC: between(parts, spec.baselineA, 0, end) * end,
      pollingA: between(trainRectangles, 0, sleepS, end),
      wakeUpsA: between([wake], 0, sleepS, end),
    },
  };
}

function currentChannel(
  spec: NightSpec,
  meter: MeterSpec,
  charge: () => (t: number) => number,
  random: Random,
): ChannelInput {
  const aperture = meter.apertureS ?? meter.intervalS;
  const from = charge();
  const to = charge();
  const gain = (meter.gain ?? 1) * (meter.reversed === true ? -1 : 1);
  return readings('current', 'A', spec.durationS, meter, random, (t) => {
    const q0 = from(t - aperture);
    return (gain * (to(t) - q0)) / aperture;
  });
}

function voltageChannel(
  spec: NightSpec,
  meter: MeterSpec,
  battery: BatterySpec,
  charge: () => (t: number) => number,
  random: Random,
): ChannelInput {
  const aperture = meter.apertureS ?? meter.intervalS;
  const from = charge();
  const to = charge();
  const tau = battery.surfaceTauS ?? 3600;
  const surface = battery.surfaceChargeV ?? 0;
  return readings('voltage', 'V', spec.durationS, meter, random, (t) => {
    const q0 = from(t - aperture);
    const mean = (to(t) - q0) / aperture;
    const decay = (surface * tau * (Math.exp(-(t - aperture) / tau) - Math.exp(-t / tau))) / aperture;
    return (meter.gain ?? 1) * (battery.restVoltageV + decay - battery.sourceResistanceOhm * mean);
  });
}

function readings(
  quantity: 'current' | 'voltage',
  unit: string,
  durationS: number,
  meter: MeterSpec,
  random: Random,
  meanOver: (t: number) => number,
): ChannelInput {
  const aperture = meter.apertureS ?? meter.intervalS;
  const count = Math.floor((durationS - aperture) / meter.intervalS);
  const t = new Float64Array(count + 1);
  const y = new Float64Array(count + 1);
  let n = 0;
  let arrived = -Infinity;
  let high = false;
  const phase = random.next() * Math.min(meter.intervalS, durationS - aperture - count * meter.intervalS);
  for (let k = 0; k <= count; k++) {
    const at = phase + aperture + k * meter.intervalS;
    const value = meanOver(at);
    const wander = (meter.offsetDrift ?? 0) * Math.sin((Math.PI * at) / durationS);
    const noisy = value + (meter.offset ?? 0) + wander + meter.noise * random.normal();
    const late = (meter.radioJitterS ?? 0) * random.next();
    const lost = random.next() < (meter.lossFraction ?? 0);
    let digit = meter.resolution;
    if (meter.autoRange !== undefined) {
      const nowHigh = Math.abs(noisy) > meter.autoRange.aboveA;
      const changed = nowHigh !== high;
      high = nowHigh;
      if (changed) continue;
      if (high) digit = meter.autoRange.resolution;
    }
    if (lost || (meter.dropouts ?? []).some((d) => at >= d.startS && at < d.endS)) continue;
    const seen = meter.bunchS === undefined ? at + late : Math.ceil(at / meter.bunchS) * meter.bunchS + late;
    arrived = Math.max(arrived + 1e-4, seen);
    t[n] = arrived;
    y[n] = Number((Math.round(noisy / digit) * digit).toPrecision(12));
    n++;
  }
  return {
    quantity,
    unit,
    t: t.subarray(0, n),
    y: y.subarray(0, n),
    resolution: meter.tellResolution === true ? meter.resolution : null,
    apertureS: meter.tellAperture === false ? null : aperture,
    accuracy: meter.accuracy ?? null,
    gaps: [],
  };
}
