import type { Conditioned } from './condition.ts';
import { ditherOf, type MeterErrors, type MeterOfChannel } from './dc.ts';
import { measureDraw, type Draw } from './draw.ts';
import { findExcursions, visibleThreshold, type Excursions } from './excursions.ts';
import { FloorOverTime, WindowFloor } from './floor.ts';
import { offsetOfFloor } from './floor-offset.ts';
import { findLevels, type Level } from './levels.ts';
import { findPolling } from './polling.ts';
import type { MeasuredRegime } from './regimes.ts';
import { findSleep, referenceFloor, type Sleep } from './sleep.ts';
import { measureRaised, type Raised } from './wake-ups.ts';
import { wanderOf } from './wander.ts';
import { cutWindows, type Windows } from './windows.ts';

/** The stages on a current channel, composed. Current here is positive when it leaves the battery. */

export interface CurrentStory {
  readonly conditioned: Conditioned;
  readonly windows: Windows;
  readonly sleep: Sleep;
  readonly reference: Float64Array;
  readonly excursions: Excursions;
  readonly regimes: readonly MeasuredRegime[];
  readonly wakeUps: readonly Raised[];
  readonly draw: Draw;
  readonly meter: MeterErrors;
}

/** `span` is what the recording, or a chapter of it, covers. */
export function analyseCurrent(
  c: Conditioned,
  facts: MeterOfChannel,
  span: { readonly fromS: number; readonly toS: number },
): CurrentStory {
  const windows = cutWindows(c);
  const levels = findLevels(c, windows);
  const sleep = findSleep(c, levels);
  const threshold = visibleThreshold(c, windows.noise);
  const { reference, excursions } = aboveFloor(c, windows, levels.levels, sleep, threshold);
  const meter: MeterErrors = {
    ...facts,
    resolution: c.resolution,
    noise: windows.noise,
    wander: wanderOf(windows, levels.levels, sleep),
    dither: ditherOf(c.y, sleep.asleepFromSample, reference[reference.length - 1] ?? 0, c.resolution),
  };
  const floor = new FloorOverTime(windows, levels.levels, reference);
  const { regimes, pulses } = findPolling(c, { excursions, levels: levels.levels, threshold, floor, meter });
  const raised = measureRaised(c, excursions, (i) => floor.at(c.t[i]!), sleep.asleepFromSample);
  const wakeUps = raised
    .filter((w) => !isBeat(w, regimes) && !isBlip(w, regimes, threshold))
    .map((w) => withoutPolling(w, regimes));
  return {
    conditioned: c,
    windows,
    sleep,
    reference,
    excursions,
    regimes,
    wakeUps,
    draw: measureDraw(c, sleep, excursions, { regimes, wakeUps, pulses }, meter, span),
    meter,
  };
}

/** Excursions over a floor that is, asleep, where the readings between them are on average. */
function aboveFloor(
  c: Conditioned,
  windows: Windows,
  levels: readonly Level[],
  sleep: Sleep,
  threshold: number,
): { readonly reference: Float64Array; readonly excursions: Excursions } {
  const rough = referenceFloor(windows, levels, sleep);
  const groundOf = (reference: Float64Array): WindowFloor =>
    new WindowFloor(windows, levels, reference, c.t.length);
  const over = (reference: Float64Array): Excursions =>
    findExcursions(c, groundOf(reference), threshold, 0, c.t.length);
  const first = over(rough);
  const offset = offsetOfFloor(c, groundOf(rough), first, sleep.asleepFromSample, windows.noise);
  if (offset === 0) return { reference: rough, excursions: first };
  const reference = rough.map((level, k) =>
    windows.from[k + 1]! > sleep.asleepFromSample ? level + offset : level,
  );
  return { reference, excursions: over(reference) };
}

/** Where polling is too fast to time, a rise no higher than one pulse is its slow beat with the readings. */
function isBeat(w: Raised, regimes: readonly MeasuredRegime[]): boolean {
  return regimes.some(
    (r) =>
      !r.resolved &&
      r.stretch.firstS < w.startS + w.durationS &&
      r.stretch.lastS > w.startS &&
      w.peak < 1.4 * r.topA,
  );
}

/** Readings: a pulse has at most two, and noise on either side of it. */
const FEW = 4;
/** A pulse with this much more charge than its train's others has something else in it. */
const MORE_CHARGE = 1.35;

/** A train's own pulse that noise has made longer, or noise alone: among millions of readings there are some. */
function isBlip(w: Raised, regimes: readonly MeasuredRegime[], threshold: number): boolean {
  if (w.last - w.first + 1 > FEW) return false;
  const isPulse = regimes.some(
    ({ stretch, averageA }) =>
      stretch.firstS - stretch.periodS / 2 < w.startS + w.durationS &&
      stretch.lastS + stretch.periodS / 2 > w.startS &&
      w.charge < MORE_CHARGE * averageA * stretch.periodS,
  );
  return isPulse || w.peak < 2 * threshold;
}

/** Polling goes on under a wake-up: its share of the charge belongs to the polling. */
function withoutPolling(w: Raised, regimes: readonly MeasuredRegime[]): Raised {
  let charge = w.charge;
  for (const r of regimes) {
    const from = Math.max(w.startS, r.stretch.firstS);
    const to = Math.min(w.startS + w.durationS, r.stretch.lastS);
    charge -= Math.max(0, to - from) * (r.averageA + r.restA);
  }
  return { ...w, charge };
}
