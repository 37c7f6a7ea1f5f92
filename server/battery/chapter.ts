import { parseAccuracy } from '../analysis/accuracy.ts';
import {
  conditionAll,
  lowerBound,
  type ClockStep,
  type Conditioned,
  type Span,
} from '../analysis/condition.ts';
import { alignChannels, type Alignment } from '../analysis/alignment.ts';
import { analyseCurrent, type CurrentStory } from '../analysis/current.ts';
import { findDips } from '../analysis/dips.ts';
import { meterOf, type MeterErrors, type MeterOfChannel } from '../analysis/dc.ts';
import type { Draw } from '../analysis/draw.ts';
import type { ChannelInput, NightInput } from '../analysis/input.ts';
import { timingOf } from '../analysis/polling.ts';
import type { MeasuredRegime } from '../analysis/regimes.ts';
import type { Sleep } from '../analysis/sleep.ts';
import { mean } from '../analysis/statistics.ts';
import type { Timing } from '../analysis/trains.ts';
import type { Raised } from '../analysis/wake-ups.ts';
import { channelNoise } from '../analysis/windows.ts';
import type { AnalysisOptions, Findings } from '../messages/findings.ts';
import { alignedVoltage, loadSteps } from './loadSteps.ts';
import { polarity, type Polarity } from './polarity.ts';
import { isTooShort } from './polling.ts';
import { sourceResistance, type Resistance } from './resistance.ts';
import { quietPoints, type QuietVoltage } from './rest.ts';

/**
 * Everything that needs the readings themselves. A chapter is a night, or a day of a recording that goes on for
 * weeks; it holds no readings, so that what is done need not be kept or read again.
 */
export interface Chapter {
  readonly fromS: number;
  readonly toS: number;
  readonly channels: readonly ChannelChapter[];
  /** Steps of the clock that the times themselves betray. */
  readonly clockSteps: readonly ClockStep[];
  readonly sign: Polarity;
  readonly current: CurrentChapter | null;
  readonly voltage: VoltageChapter | null;
}

export interface ChannelChapter {
  readonly facts: Findings['recording']['channels'][number];
  /** When the first and the last reading were taken; null where there is none. */
  readonly firstS: number | null;
  readonly lastS: number | null;
}

/** Current is positive here when it leaves the battery, whichever way round the clamp was. */
export interface CurrentChapter {
  /** Readings; when the first and the last were taken. */
  readonly samples: number;
  readonly firstS: number;
  readonly lastS: number;
  readonly timing: Timing;
  readonly sleep: Pick<Sleep, 'state' | 'timeToSleepS' | 'steps' | 'asleepFromS'>;
  readonly regimes: readonly MeasuredRegime[];
  readonly wakeUps: readonly Raised[];
  readonly draw: Draw;
  /** Mean and highest of the readings before the car slept; of all where it did not. 0 where there are none. */
  readonly awake: { readonly meanA: number; readonly peakA: number };
  /** Mean of the windows from sleep on, and how many there are: what loads the resting battery. */
  readonly load: { readonly meanA: number; readonly windows: number };
}

export interface VoltageChapter {
  readonly timing: Timing;
  readonly firstS: number;
  readonly lastS: number;
  readonly meter: MeterErrors;
  /** Polling seen as dips; null where the current shows it. */
  readonly dips: readonly MeasuredRegime[] | null;
  readonly alignment: Alignment | null;
  readonly resistance: Resistance | null;
  readonly quiet: QuietVoltage;
}

/** What of a long recording went before. */
export interface Before {
  readonly fromS: number;
  /** Which way round the clamp was found to be. */
  readonly reversed: boolean;
}

/** After a wake-up the battery is given this long to settle before its voltage counts as resting. */
const SETTLE_S = 60;

export function chapterOf(input: NightInput, options: AnalysisOptions, before: Before | null): Chapter {
  const channels = input.channels.map((c) => withOptions(c, options));
  const conditioned = conditionAll(channels);
  const fromS = before?.fromS ?? 0;
  const toS = input.durationS ?? Math.max(0, ...conditioned.map((c) => c.t[c.t.length - 1] ?? 0));
  const main = pick(channels, conditioned, 'current');
  const volts = pick(channels, conditioned, 'voltage');
  const seen = polarity(main?.c ?? null, volts?.c ?? null);
  const sign = before === null ? seen : { ...seen, reversed: before.reversed };
  const story =
    main === null
      ? null
      : analyseCurrent(sign.reversed ? flipped(main.c) : main.c, main.meter, { fromS, toS });
  const described = conditioned.map((c) => describeChannel(c, story));
  const noise = volts === null ? null : described[conditioned.indexOf(volts.c)]!.facts.noise;
  return {
    fromS,
    toS,
    channels: described,
    clockSteps: conditioned.flatMap((c) => c.clockSteps),
    sign,
    current: story === null ? null : currentChapter(story),
    voltage: volts === null ? null : voltageChapter(volts, noise, story, sign),
  };
}

function withOptions(c: ChannelInput, options: AnalysisOptions): ChannelInput {
  if (c.quantity === 'temperature') return c;
  return {
    ...c,
    apertureS: options.apertureMs === undefined ? c.apertureS : options.apertureMs / 1000,
    accuracy: options.meterAccuracy === undefined ? c.accuracy : parseAccuracy(options.meterAccuracy),
  };
}

interface Picked {
  readonly c: Conditioned;
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
    if (best === null || c.t.length > best.c.t.length) best = { c, meter: meterOf(channels[i]!) };
  });
  return best;
}

function flipped(c: Conditioned): Conditioned {
  return { ...c, y: c.y.map((v) => -v) };
}

function describeChannel(c: Conditioned, story: CurrentStory | null): ChannelChapter {
  const fromStory = c.quantity === 'current' && story !== null;
  return {
    facts: {
      quantity: c.quantity,
      unit: c.unit,
      samples: c.t.length,
      medianIntervalS: c.intervalS,
      resolution: c.resolution,
      noise: c.t.length < 8 ? null : fromStory ? story.meter.noise : channelNoise(c),
      gaps: c.gaps.map((g) => ({ startS: g.startS, endS: g.endS })),
    },
    firstS: c.t[0] ?? null,
    lastS: c.t[c.t.length - 1] ?? null,
  };
}

function currentChapter(story: CurrentStory): CurrentChapter {
  const { t, y } = story.conditioned;
  const { state, timeToSleepS, steps, asleepFromS, asleepFromSample } = story.sleep;
  const { windows } = story;
  const awake = y.subarray(0, asleepFromSample);
  const loaded = windowsBetween(story, restFrom(story), Infinity);
  return {
    samples: t.length,
    firstS: t[0]!,
    lastS: t[t.length - 1]!,
    timing: timingOf(story.conditioned),
    sleep: { state, timeToSleepS, steps, asleepFromS },
    regimes: story.regimes.map((r) => ({ ...r, members: NO_MEMBERS })),
    wakeUps: story.wakeUps,
    draw: story.draw,
    awake:
      asleepFromSample === 0
        ? { meanA: 0, peakA: 0 }
        : { meanA: mean(awake), peakA: awake.reduce((most, v) => Math.max(most, v), 0) },
    load: {
      meanA: loaded.length === 0 ? 0 : loaded.reduce((sum, k) => sum + windows.mean[k]!, 0) / loaded.length,
      windows: loaded.length,
    },
  };
}

const NO_MEMBERS = new Int32Array(0);

function voltageChapter(
  { c, meter: facts }: Picked,
  noise: number | null,
  story: CurrentStory | null,
  sign: Polarity,
): VoltageChapter {
  const meter: MeterErrors = { ...facts, resolution: c.resolution, noise: noise ?? channelNoise(c) };
  const current = story?.conditioned ?? null;
  const steps = story === null ? [] : loadSteps(story);
  const alignment =
    story === null || current === null
      ? null
      : alignChannels(
          { channel: current, noise: story.meter.noise },
          { channel: c, noise: meter.noise },
          steps,
        );
  const polls = story !== null && story.regimes.length > 0 && !isTooShort(spanOf(story.conditioned));
  return {
    timing: timingOf(c),
    firstS: c.t[0]!,
    lastS: c.t[c.t.length - 1]!,
    meter,
    dips: polls ? null : findDips(c, facts).map((r) => ({ ...r, members: NO_MEMBERS })),
    alignment,
    resistance:
      story === null || current === null
        ? null
        : sourceResistance(current, alignedVoltage(c, alignment), steps, story.meter, meter),
    quiet: quietPoints(
      c,
      restFrom(story),
      disturbances(story, sign),
      story === null ? null : meanLoad(story),
    ),
  };
}

function spanOf(c: Conditioned): { samples: number; firstS: number; lastS: number } {
  return { samples: c.t.length, firstS: c.t[0] ?? 0, lastS: c.t[c.t.length - 1] ?? 0 };
}

/** The mean current over any span, from the windows whose middle lies in it. */
function meanLoad(story: CurrentStory): (fromS: number, toS: number) => number | null {
  return (fromS, toS) => {
    const inside = windowsBetween(story, fromS, toS);
    return inside.length === 0
      ? null
      : inside.reduce((sum, k) => sum + story.windows.mean[k]!, 0) / inside.length;
  };
}

function windowsBetween({ windows }: CurrentStory, fromS: number, toS: number): number[] {
  const inside: number[] = [];
  for (let k = lowerBound(windows.startS, fromS - windows.lengthS / 2); k < windows.count; k++) {
    const middle = (windows.startS[k]! + windows.endS[k]!) / 2;
    if (middle >= toS) break;
    if (middle >= fromS) inside.push(k);
  }
  return inside;
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
