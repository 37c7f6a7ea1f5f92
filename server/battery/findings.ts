import { figure } from '../analysis/accuracy.ts';
import type { NightInput } from '../analysis/input.ts';
import type { AnalysisOptions, Estimate, Findings } from '../messages/findings.ts';
import { chapterOf, type Chapter, type CurrentChapter, type VoltageChapter } from './chapter.ts';
import { daysUntil, defaultThresholdV, stateOfCharge } from './charge.ts';
import { raiseFlags } from './flags.ts';
import { DEFAULT_DRAW_LIMIT_A } from './flagsOfDraw.ts';
import { isAsleep } from './joinCurrent.ts';
import type { Polarity } from './polarity.ts';
import { POLLING_UNKNOWN, pollingInCurrent, pollingInVoltage } from './polling.ts';
import { restVoltage, type Rest } from './rest.ts';
import { tableFor } from './tables.ts';

export type FindNightOptions = AnalysisOptions & {
  readonly thresholdFrom?: 'set' | 'measured-on-this-car' | undefined;
  /** Expanded uncertainty of a threshold that was measured, volts. */
  readonly thresholdUncertaintyV?: number | undefined;
};

/** What is known of a recording beyond its readings. */
export interface About {
  readonly startedAt: string | null;
  readonly clockSteps: NightInput['clockSteps'];
  /** Whether the data sheet of the meter behind the channel is known. */
  readonly accuracyStated: { readonly current: boolean; readonly voltage: boolean };
  readonly zeroChecks: number;
}

/**
 * The findings document of one recording (schema nightdraw.findings/1): SI units, seconds on the recording's
 * own time axis, current positive when it leaves the battery. Pure and total: it never throws on readings.
 */
export function findNight(input: NightInput, options: FindNightOptions = {}): Findings {
  return findingsOf(chapterOf(input, options, null), aboutOf(input, options), options);
}

export function aboutOf(
  input: Pick<NightInput, 'startedAt' | 'clockSteps'> & {
    readonly channels: readonly Pick<
      NightInput['channels'][number],
      'quantity' | 'ranges' | 'accuracy' | 'zeroChecks'
    >[];
  },
  options: AnalysisOptions,
): About {
  const { startedAt, clockSteps, channels } = input;
  const isStated = (quantity: 'current' | 'voltage'): boolean =>
    channels.some(
      (c) =>
        c.quantity === quantity &&
        (options.meterAccuracy !== undefined || c.accuracy !== null || (c.ranges ?? []).length > 0),
    );
  return {
    startedAt,
    clockSteps,
    accuracyStated: { current: isStated('current'), voltage: isStated('voltage') },
    zeroChecks: Math.max(
      0,
      ...channels.filter((c) => c.quantity === 'current').map((c) => c.zeroChecks?.length ?? 0),
    ),
  };
}

/** The document from what the readings gave. */
export function findingsOf(chapter: Chapter, about: About, options: FindNightOptions): Findings {
  const { current, voltage, sign } = chapter;
  const battery = describeBattery(current, voltage, sign, options);
  const body = {
    schema: 'nightdraw.findings/1' as const,
    recording: {
      durationS: chapter.toS,
      startedAt: about.startedAt,
      channels: chapter.channels.map((c) => c.facts),
      clockSteps: [...about.clockSteps, ...chapter.clockSteps]
        .map((s) => ({ atS: s.atS, stepS: s.stepS }))
        .sort((a, b) => a.atS - b.atS),
      reversed: sign.reversed,
      ...alignmentOf(voltage),
    },
    ...inVoltageToo(describeDraw(current, sign), voltage, battery.findings),
    battery: battery.findings,
  };
  const slow = body.polling.candidatePeriodsS.length > 0 || body.polling.state === 'unresolved';
  const flags = raiseFlags(body, {
    drawLimitA: options.drawLimitA ?? DEFAULT_DRAW_LIMIT_A,
    drawLimitFrom: options.drawLimitA === undefined ? 'default' : 'set',
    accuracyStated: about.accuracyStated,
    zeroChecks: about.zeroChecks,
    surfaceLeftV: battery.rest?.surfaceLeftV ?? 0,
    chargingShare: sign.chargingShare,
    chargingA: sign.chargingA,
    slowIntervalS: slow && current !== null ? current.timing.readingS : null,
  });
  return { ...body, flags };
}

function alignmentOf(voltage: VoltageChapter | null): Pick<Findings['recording'], 'alignment'> {
  const lagS = voltage?.alignment ? figure(voltage.alignment.lagS, voltage.alignment.standardU) : null;
  return lagS === null ? {} : { alignment: { lagS, steps: voltage!.alignment!.steps } };
}

/** Where no current shows polling, the dips that it makes in the voltage may. */
function inVoltageToo<T extends Pick<Findings, 'polling'>>(
  story: T,
  voltage: VoltageChapter | null,
  battery: Findings['battery'],
): T {
  const { state } = story.polling;
  if (voltage === null || voltage.dips === null || (state !== 'absent' && state !== 'undetermined'))
    return story;
  const ohm = battery.sourceResistanceOhm;
  const source = ohm === null ? null : { ohm: ohm.value, standardU: ohm.expandedUncertainty / 2 };
  const polling = pollingInVoltage(voltage.lastS, voltage.dips, source);
  return polling === null ? story : { ...story, polling };
}

/** What the current tells, with the sign as it was recorded. */
function describeDraw(
  current: CurrentChapter | null,
  sign: Polarity,
): Pick<Findings, 'sleep' | 'polling' | 'wakeUps' | 'draw'> {
  const s = sign.reversed ? -1 : 1;
  const signed = (e: Estimate): Estimate => (e === null ? null : { ...e, value: s * e.value });
  if (current === null)
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
  const { sleep, draw } = current;
  const asleep = isAsleep(current);
  const budget = asleep ? draw.budget : null;
  return {
    sleep: {
      state: sleep.state,
      timeToSleepS: sleep.timeToSleepS,
      steps: sleep.steps.map((x) => ({ atS: x.atS, fromA: s * x.fromA, toA: s * x.toA })),
      settledBaselineA: asleep ? signed(draw.baseline) : null,
    },
    polling: pollingInCurrent(current, current.regimes, s),
    wakeUps: current.wakeUps.map((w) => ({
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
  current: CurrentChapter | null,
  voltage: VoltageChapter | null,
  sign: Polarity,
  options: FindNightOptions,
): { findings: Findings['battery']; rest: Rest | null } {
  const chemistry = options.chemistry;
  const thresholdV = options.thresholdV ?? defaultThresholdV(chemistry);
  const thresholdU = options.thresholdUncertaintyV ?? 0;
  const resistance = voltage?.resistance ?? null;
  const source = resistance ?? TYPICAL;
  const rest =
    voltage === null || sign.chargingShare > 0.5
      ? null
      : restVoltage(voltage.quiet, voltage.meter, source.ohm);
  const open = rest === null ? null : withoutLoad(rest, current, source.standardU);
  const restVoltageV = open === null ? null : figure(open.v, open.u);
  const charge = open === null ? null : stateOfCharge(open.v, open.u, chemistry, options.temperatureC);
  const average = current?.draw.averageAfterSleep ?? null;
  const days =
    charge === null || average === null || options.capacityAh === undefined || sign.reversed
      ? null
      : daysUntil(charge, { v: thresholdV, u: thresholdU / 2 }, average, options.capacityAh, chemistry);
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
      ...(thresholdU > 0 && { thresholdUncertaintyV: thresholdU }),
    },
  };
}

/** Source resistances of healthy starter batteries and their leads, where this car's own is not known. */
const TYPICAL = { ohm: 0.022, standardU: 0.01 };
/** What a sleeping car draws where nobody measured it, amperes (published figures run from 5 to 85 mA). */
const UNSEEN_A = { value: 0.035, standardU: 0.03 };

/** The rest voltage with what its load leaves uncertain: the resistance, or the whole drop where it was not seen. */
function withoutLoad(rest: Rest, current: CurrentChapter | null, ohmU: number): { v: number; u: number } {
  if (current === null) {
    const drop = UNSEEN_A.value * TYPICAL.ohm;
    const dropU = Math.hypot(UNSEEN_A.standardU * TYPICAL.ohm, UNSEEN_A.value * TYPICAL.standardU);
    return { v: rest.restV + drop, u: Math.hypot(rest.restU, dropU) };
  }
  return { v: rest.restV, u: Math.hypot(rest.restU, current.load.meanA * ohmU) };
}
