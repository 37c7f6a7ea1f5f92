import { parseAccuracy, figure } from '../analysis/accuracy.ts';
import { condition, lowerBound, type Conditioned, type Span } from '../analysis/condition.ts';
import { analyseCurrent, type CurrentStory } from '../analysis/current.ts';
import { findDips } from '../analysis/dips.ts';
import { meterOf, type MeterErrors, type MeterOfChannel } from '../analysis/dc.ts';
import type { ChannelInput, NightInput } from '../analysis/input.ts';
import { channelNoise } from '../analysis/windows.ts';
import type { AnalysisOptions, Estimate, Findings } from '../messages/findings.ts';
import { daysUntil, defaultThresholdV, stateOfCharge } from './charge.ts';
import { raiseFlags } from './flags.ts';
import { DEFAULT_DRAW_LIMIT_A } from './flagsOfDraw.ts';
import { polarity, type Polarity } from './polarity.ts';
import { POLLING_UNKNOWN, pollingInCurrent, pollingInVoltage } from './polling.ts';
import { sourceResistance } from './resistance.ts';
import { restVoltage, type Load, type Rest } from './rest.ts';
import { tableFor } from './tables.ts';

export type FindNightOptions = AnalysisOptions & {
  readonly thresholdFrom?: 'set' | 'measured-on-this-car' | undefined;
};

/** After a wake-up the battery is given this long to settle before its voltage counts as resting. */
const SETTLE_S = 60;

/**
 * The findings document of one recording (schema nightdraw.findings/1): SI units, seconds on the recording's
 * own time axis, current positive when it leaves the battery. Pure and total: it never throws on readings.
 */
export function findNight(input: NightInput, options: FindNightOptions = {}): Findings {
  const channels = input.channels.map((c) => withOptions(c, options));
  const conditioned = channels.map(condition);
  const durationS = input.durationS ?? Math.max(0, ...conditioned.map((c) => c.t[c.t.length - 1] ?? 0));
  const main = pick(channels, conditioned, 'current');
  const volts = pick(channels, conditioned, 'voltage');
  const sign = polarity(main?.c ?? null, volts?.c ?? null);
  const story =
    main === null ? null : analyseCurrent(sign.reversed ? flipped(main.c) : main.c, main.meter, durationS);
  const recording = describeRecording(input, conditioned, story, durationS, sign);
  const voltage = volts === null ? null : recording.channels[conditioned.indexOf(volts.c)]!;
  const battery = describeBattery(story, volts, voltage?.noise ?? null, sign, options);
  const body = {
    schema: 'nightdraw.findings/1' as const,
    recording,
    ...inVoltageToo(describeDraw(story, sign), volts, battery.findings),
    battery: battery.findings,
  };
  const slow = body.polling.candidatePeriodsS.length > 0 || body.polling.state === 'unresolved';
  const flags = raiseFlags(body, {
    drawLimitA: options.drawLimitA ?? DEFAULT_DRAW_LIMIT_A,
    drawLimitFrom: options.drawLimitA === undefined ? 'default' : 'set',
    accuracyStated: { current: isStated(main), voltage: isStated(volts) },
    zeroChecks: main?.input.zeroChecks?.length ?? 0,
    surfaceLeftV: battery.rest?.surfaceLeftV ?? 0,
    chargingShare: sign.chargingShare,
    chargingA: sign.chargingA,
    slowIntervalS: slow ? (main?.c.intervalS ?? null) : null,
  });
  return { ...body, flags };
}

function withOptions(c: ChannelInput, options: FindNightOptions): ChannelInput {
  if (c.quantity === 'temperature') return c;
  return {
    ...c,
    apertureS: options.apertureMs === undefined ? c.apertureS : options.apertureMs / 1000,
    accuracy: options.meterAccuracy === undefined ? c.accuracy : parseAccuracy(options.meterAccuracy),
  };
}

function isStated(p: Picked | null): boolean {
  return p !== null && (p.meter.accuracy !== null || (p.meter.ranges ?? []).length > 0);
}

interface Picked {
  readonly c: Conditioned;
  readonly input: ChannelInput;
  readonly meter: MeterOfChannel;
}

/** Of several channels of one quantity the one with the most readings tells the story. */
function pick(
  channels: readonly ChannelInput[],
  conditioned: readonly Conditioned[],
  quantity: 'current' | 'voltage',
): Picked | null {
  let best: Picked | null = null;
  conditioned.forEach((c, i) => {
    if (c.quantity !== quantity || c.t.length < 2) return;
    if (best === null || c.t.length > best.c.t.length)
      best = { c, input: channels[i]!, meter: meterOf(channels[i]!) };
  });
  return best;
}

function flipped(c: Conditioned): Conditioned {
  return { ...c, y: c.y.map((v) => -v) };
}

function describeRecording(
  input: NightInput,
  conditioned: readonly Conditioned[],
  story: CurrentStory | null,
  durationS: number,
  sign: Polarity,
): Findings['recording'] {
  const steps = [...input.clockSteps, ...conditioned.flatMap((c) => c.clockSteps)];
  return {
    durationS,
    startedAt: input.startedAt,
    channels: conditioned.map((c) => ({
      quantity: c.quantity,
      unit: c.unit,
      samples: c.t.length,
      medianIntervalS: c.intervalS,
      resolution: c.resolution,
      noise:
        c.t.length < 8
          ? null
          : c.quantity === 'current' && story !== null
            ? story.meter.noise
            : channelNoise(c),
      gaps: c.gaps.map((g) => ({ startS: g.startS, endS: g.endS })),
    })),
    clockSteps: steps.map((s) => ({ atS: s.atS, stepS: s.stepS })).sort((a, b) => a.atS - b.atS),
    reversed: sign.reversed,
  };
}

/** Where no current shows polling, the dips that it makes in the voltage may. */
function inVoltageToo<T extends Pick<Findings, 'polling'>>(
  story: T,
  volts: Picked | null,
  battery: Findings['battery'],
): T {
  const { state } = story.polling;
  if (volts === null || (state !== 'absent' && state !== 'undetermined')) return story;
  const ohm = battery.sourceResistanceOhm;
  const source = ohm === null ? null : { ohm: ohm.value, standardU: ohm.expandedUncertainty / 2 };
  const polling = pollingInVoltage(volts.c, findDips(volts.c, volts.meter), source);
  return polling === null ? story : { ...story, polling };
}

/** What the current tells, with the sign as it was recorded. */
function describeDraw(
  story: CurrentStory | null,
  sign: Polarity,
): Pick<Findings, 'sleep' | 'polling' | 'wakeUps' | 'draw'> {
  const s = sign.reversed ? -1 : 1;
  const signed = (e: Estimate): Estimate => (e === null ? null : { ...e, value: s * e.value });
  if (story === null)
    return {
      sleep: { state: 'undetermined', timeToSleepS: null, steps: [], settledBaselineA: null },
      polling: POLLING_UNKNOWN,
      wakeUps: [],
      draw: {
        averageAfterSleepA: null,
        averageLastHourA: null,
        totalChargeC: null,
        budget: { baselineA: null, pollingA: null, wakeUpsA: null },
      },
    };
  const { sleep, draw } = story;
  const asleep = sleep.state === 'slept' || sleep.state === 'asleep-from-start';
  const budget = asleep ? draw.budget : null;
  return {
    sleep: {
      state: sleep.state,
      timeToSleepS: sleep.timeToSleepS,
      steps: sleep.steps.map((x) => ({ atS: x.atS, fromA: s * x.fromA, toA: s * x.toA })),
      settledBaselineA: asleep ? signed(draw.baseline) : null,
    },
    polling: pollingInCurrent(story.conditioned, story.regimes, s),
    wakeUps: story.wakeUps.map((w) => ({
      startS: w.startS,
      durationS: w.durationS,
      peakA: s * w.peak,
      chargeC: s * w.charge,
    })),
    draw: {
      averageAfterSleepA: asleep ? signed(draw.averageAfterSleep) : null,
      averageLastHourA: signed(draw.averageLastHour),
      totalChargeC: signed(draw.totalCharge),
      budget: {
        baselineA: budget === null ? null : s * budget.baselineA,
        pollingA: budget === null ? null : s * budget.pollingA,
        wakeUpsA: budget === null ? null : s * budget.wakeUpsA,
      },
    },
  };
}

function describeBattery(
  story: CurrentStory | null,
  volts: Picked | null,
  /** Of the voltage, where that was worked out already. */
  noise: number | null,
  sign: Polarity,
  options: FindNightOptions,
): { findings: Findings['battery']; rest: Rest | null } {
  const chemistry = options.chemistry;
  const thresholdV = options.thresholdV ?? defaultThresholdV(chemistry);
  const meter: MeterErrors | null =
    volts === null
      ? null
      : { ...volts.meter, resolution: volts.c.resolution, noise: noise ?? channelNoise(volts.c) };
  const resistance =
    story === null || volts === null || meter === null
      ? null
      : sourceResistance(story.conditioned, volts.c, loadSteps(story), story.meter, meter);
  const source = resistance ?? TYPICAL;
  const load = story === null ? null : loadOf(story, source.ohm);
  const rest =
    volts === null || meter === null || sign.chargingShare > 0.5
      ? null
      : restVoltage(volts.c, restFrom(story), disturbances(story, sign), meter, load);
  const open = rest === null ? null : withoutLoad(rest, load, restFrom(story), source.standardU);
  const restVoltageV = open === null ? null : figure(open.v, open.u);
  const charge = open === null ? null : stateOfCharge(open.v, open.u, chemistry, options.temperatureC);
  const average = story?.draw.averageAfterSleep ?? null;
  const days =
    charge === null || average === null || options.capacityAh === undefined || sign.reversed
      ? null
      : daysUntil(charge, thresholdV, average, options.capacityAh, chemistry);
  return {
    rest,
    findings: {
      restVoltageV,
      stateOfCharge: charge,
      sourceResistanceOhm: resistance === null ? null : figure(resistance.ohm, resistance.standardU),
      daysToUnreliable: days,
      table: tableFor(chemistry).name,
      thresholdV,
      thresholdFrom: options.thresholdV === undefined ? 'default' : (options.thresholdFrom ?? 'set'),
    },
  };
}

/** Source resistances of healthy starter batteries and their leads, where this car's own is not known. */
const TYPICAL = { ohm: 0.022, standardU: 0.01 };
/** What a sleeping car draws where nobody measured it, amperes (published figures run from 5 to 85 mA). */
const UNSEEN_A = { value: 0.035, standardU: 0.03 };

/** The mean current over any span, from the windows whose middle lies in it. */
function loadOf({ windows }: CurrentStory, ohm: number): Load {
  return {
    ohm,
    meanA(fromS, toS) {
      let sum = 0;
      let n = 0;
      for (let k = lowerBound(windows.startS, fromS - windows.lengthS / 2); k < windows.count; k++) {
        const middle = (windows.startS[k]! + windows.endS[k]!) / 2;
        if (middle >= toS) break;
        if (middle < fromS) continue;
        sum += windows.mean[k]!;
        n++;
      }
      return n === 0 ? null : sum / n;
    },
  };
}

/** The rest voltage with what its load leaves uncertain: the resistance, or the whole drop where it was not seen. */
function withoutLoad(rest: Rest, load: Load | null, fromS: number, ohmU: number): { v: number; u: number } {
  if (load === null) {
    const drop = UNSEEN_A.value * TYPICAL.ohm;
    const dropU = Math.hypot(UNSEEN_A.standardU * TYPICAL.ohm, UNSEEN_A.value * TYPICAL.standardU);
    return { v: rest.restV + drop, u: Math.hypot(rest.restU, dropU) };
  }
  const amps = load.meanA(fromS, Infinity) ?? 0;
  return { v: rest.restV, u: Math.hypot(rest.restU, amps * ohmU) };
}

function restFrom(story: CurrentStory | null): number {
  if (story === null) return 0;
  const { state, asleepFromS } = story.sleep;
  return state === 'slept' || state === 'asleep-from-start' ? asleepFromS : 0;
}

function disturbances(story: CurrentStory | null, sign: Polarity): Span[] {
  const raised = (story?.wakeUps ?? []).map((w) => ({
    startS: w.startS,
    endS: w.startS + w.durationS + SETTLE_S,
  }));
  return [...raised, ...sign.charging.map((x) => ({ startS: x.startS, endS: x.endS + 10 * SETTLE_S }))];
}

function loadSteps(story: CurrentStory): number[] {
  return [
    ...story.sleep.steps.map((x) => x.atS),
    ...story.wakeUps.flatMap((w) => [w.startS, w.startS + w.durationS]),
  ];
}
