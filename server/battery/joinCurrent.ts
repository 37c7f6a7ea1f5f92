import type { Draw } from '../analysis/draw.ts';
import type { Timing } from '../analysis/trains.ts';
import type { Raised } from '../analysis/wake-ups.ts';
import type { Estimate } from '../messages/findings.ts';
import type { CurrentChapter } from './chapter.ts';
import { joinTrains } from './joinTrains.ts';

/** The current of two chapters as that of one. What a chapter covers is told beside it. */
export interface Covered {
  readonly current: CurrentChapter;
  readonly fromS: number;
  readonly toS: number;
}

export function joinCurrent(a: Covered, b: Covered, timing: Timing): CurrentChapter {
  const regimes = joinTrains(a.current.regimes, b.current.regimes, timing);
  const seen = {
    samples: a.current.samples + b.current.samples,
    firstS: a.current.firstS,
    lastS: b.current.lastS,
    timing,
    regimes,
  };
  return isAsleep(a.current) ? { ...seen, ...sleepsOn(a, b) } : { ...seen, ...fallsAsleep(a, b) };
}

export function isAsleep({ sleep }: CurrentChapter): boolean {
  return sleep.state === 'slept' || sleep.state === 'asleep-from-start';
}

type Rest = Pick<CurrentChapter, 'sleep' | 'wakeUps' | 'draw' | 'awake' | 'load'>;

/** The car had not slept before the border: what comes after it tells when it did. */
function fallsAsleep(a: Covered, b: Covered): Rest {
  const { current: before } = a;
  const { current: after } = b;
  const level = before.sleep.steps.at(-1)?.toA ?? before.awake.meanA;
  const atBorder = { atS: b.fromS, fromA: level, toA: after.draw.baseline?.value ?? 0 };
  const fromStart = after.sleep.state === 'asleep-from-start';
  const never = before.sleep.state === 'never-slept' || after.sleep.state === 'never-slept';
  return {
    wakeUps: after.wakeUps,
    load: after.load,
    awake: before.awake,
    sleep: {
      state: isAsleep(after) ? 'slept' : never ? 'never-slept' : 'undetermined',
      timeToSleepS: fromStart ? b.fromS : after.sleep.timeToSleepS,
      steps: [...before.sleep.steps, ...(fromStart ? [atBorder] : []), ...after.sleep.steps],
      asleepFromS: after.sleep.asleepFromS,
    },
    draw: { ...after.draw, totalCharge: sum(before.draw.totalCharge, after.draw.totalCharge) },
  };
}

/** The car sleeps: what is awake at the start of the second chapter, or all through it, is a wake-up. */
function sleepsOn(a: Covered, b: Covered): Rest {
  const raised = raisedAtStart(a, b);
  return {
    sleep: a.current.sleep,
    wakeUps: [...withRaised(a.current.wakeUps, raised, a.current.timing.readingS), ...b.current.wakeUps],
    draw: joinDraw(a, b, raised),
    awake: a.current.awake,
    load: weighLoad(a.current.load, b.current.load),
  };
}

function raisedAtStart({ current: before }: Covered, { current: after, fromS, toS }: Covered): Raised | null {
  const durationS = (isAsleep(after) ? after.sleep.asleepFromS : toS) - fromS;
  if (after.sleep.state === 'asleep-from-start' || durationS <= 0) return null;
  const floor = floorOf(before.draw);
  const { meanA, peakA } = after.awake;
  return {
    first: 0,
    last: 0,
    startS: fromS,
    durationS,
    peak: peakA - floor,
    charge: (meanA - floor) * durationS,
  };
}

/** One wake-up that the border cuts in two is one. */
function withRaised(wakeUps: readonly Raised[], raised: Raised | null, readingS: number): readonly Raised[] {
  if (raised === null) return wakeUps;
  const last = wakeUps.at(-1);
  if (last === undefined || raised.startS - (last.startS + last.durationS) > 4 * readingS)
    return [...wakeUps, raised];
  const whole = {
    ...last,
    durationS: raised.startS + raised.durationS - last.startS,
    peak: Math.max(last.peak, raised.peak),
    charge: last.charge + raised.charge,
  };
  return [...wakeUps.slice(0, -1), whole];
}

function floorOf({ baseline, averageAfterSleep }: Draw): number {
  return (baseline ?? averageAfterSleep)?.value ?? 0;
}

function joinDraw(a: Covered, b: Covered, raised: Raised | null): Draw {
  const [before, after] = [a.current.draw, b.current.draw];
  const beforeS = a.toS - a.current.sleep.asleepFromS;
  const afterS = b.toS - b.fromS;
  const asleepS = afterS - (raised?.durationS ?? 0);
  const spanS = beforeS + afterS;
  const rest = isAsleep(b.current) ? after.budget : NOTHING;
  const budget =
    before.budget === null || rest === null
      ? null
      : {
          baselineA:
            (before.budget.baselineA * beforeS +
              rest.baselineA * asleepS +
              floorOf(before) * (afterS - asleepS)) /
            spanS,
          pollingA: (before.budget.pollingA * beforeS + rest.pollingA * asleepS) / spanS,
          wakeUpsA:
            (before.budget.wakeUpsA * beforeS + rest.wakeUpsA * asleepS + (raised?.charge ?? 0)) / spanS,
        };
  return {
    averageAfterSleep: weigh(before.averageAfterSleep, beforeS, perSecond(after.totalCharge, afterS), afterS),
    averageLastHour: after.averageLastHour,
    totalCharge: sum(before.totalCharge, after.totalCharge),
    baseline: isAsleep(b.current)
      ? weigh(before.baseline, beforeS, after.baseline, asleepS)
      : before.baseline,
    budget,
  };
}

const NOTHING = { baselineA: 0, pollingA: 0, wakeUpsA: 0 };

/*
 * The errors of one meter in two chapters are the same for the most part, so their uncertainties are added as they
 * are, not by their squares.
 */

function sum(a: Estimate, b: Estimate): Estimate {
  if (a === null || b === null) return null;
  return { value: a.value + b.value, expandedUncertainty: a.expandedUncertainty + b.expandedUncertainty };
}

function perSecond(charge: Estimate, seconds: number): Estimate {
  if (charge === null || !(seconds > 0)) return null;
  return { value: charge.value / seconds, expandedUncertainty: charge.expandedUncertainty / seconds };
}

function weigh(a: Estimate, weightA: number, b: Estimate, weightB: number): Estimate {
  if (a === null || b === null) return null;
  const share = weightA / (weightA + weightB);
  return {
    value: share * a.value + (1 - share) * b.value,
    expandedUncertainty: share * a.expandedUncertainty + (1 - share) * b.expandedUncertainty,
  };
}

function weighLoad(a: CurrentChapter['load'], b: CurrentChapter['load']): CurrentChapter['load'] {
  const windows = a.windows + b.windows;
  if (windows === 0) return a;
  return { meanA: (a.meanA * a.windows + b.meanA * b.windows) / windows, windows };
}
