import { joinBursts } from './bursts.ts';
import { mergeSpans, overlapOf, type Conditioned, type Span } from './condition.ts';
import { ditherOf, type MeterErrors, type MeterOfChannel } from './dc.ts';
import { measureDraw, type Draw } from './draw.ts';
import { findExcursions, visibleThreshold, type Excursions } from './excursions.ts';
import { endOf, FloorOverTime, WindowFloor } from './floor.ts';
import { foldedRegimes } from './folded-regimes.ts';
import { findLevels, type Level } from './levels.ts';
import { collectPulses } from './pulses.ts';
import { measureRegimes, type Hidden, type MeasuredRegime } from './regimes.ts';
import { findSleep, referenceFloor, type Sleep } from './sleep.ts';
import { findTrains, type Timing } from './trains.ts';
import { isPulse, measureRaised, type Raised } from './wake-ups.ts';
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

export function analyseCurrent(c: Conditioned, facts: MeterOfChannel, endS: number): CurrentStory {
  const windows = cutWindows(c);
  const levels = findLevels(c, windows);
  const sleep = findSleep(c, levels);
  const reference = referenceFloor(windows, levels.levels, sleep);
  const threshold = visibleThreshold(c, windows.noise);
  const ground = new WindowFloor(windows, levels.levels, reference, c.t.length);
  const excursions = findExcursions(c, ground, threshold, 0, c.t.length);
  const meter: MeterErrors = {
    ...facts,
    resolution: c.resolution,
    noise: windows.noise,
    wander: wanderOf(windows, levels.levels, sleep),
    dither: ditherOf(c.y, sleep.asleepFromSample, reference[reference.length - 1] ?? 0, c.resolution),
  };
  const floor = new FloorOverTime(windows, reference);
  const single = collectPulses(
    c,
    excursions,
    threshold,
    levels.levels.map((l) => l.from),
  );
  const pulses = joinBursts(
    single,
    (i) => c.t[single.first[i]!]!,
    (i) => c.t[single.last[i]!]!,
  );
  const stretches = findTrains(pulses, timingOf(c));
  const seen = measureRegimes(c, pulses, stretches, floor, meter, hiddenSpans(c, excursions, levels.levels));
  const regimes = coversMuch(seen.filter(isSure), c)
    ? seen
    : preferFolded(seen, foldedRegimes(c, floor, quietSamples(c, excursions, levels.levels), meter));
  const raised = measureRaised(c, excursions, (i) => floor.at(c.t[i]!), sleep.asleepFromSample);
  const wakeUps = raised.filter((w) => !isBeat(w, regimes)).map((w) => withoutPolling(w, regimes));
  return {
    conditioned: c,
    windows,
    sleep,
    reference,
    excursions,
    regimes,
    wakeUps,
    draw: measureDraw(c, sleep, excursions, { regimes, wakeUps, pulses }, meter, endS),
    meter,
  };
}

/** What trains are timed against. */
function timingOf(c: Conditioned): Timing {
  const interval = c.intervalS ?? 1;
  const toleranceS = 0.55 * interval + c.jitterS + 0.002;
  return {
    toleranceS,
    readingS: interval,
    leastPeriodS: Math.max(1.9 * interval, 2 * c.jitterS),
    gaps: c.gaps,
  };
}

/** Where a step, the edge of a long excursion, or all of one hides pulses. */
function hiddenSpans(c: Conditioned, x: Excursions, levels: readonly Level[]): Hidden {
  const edges = levels.flatMap((l) => (l.from > 0 ? [l.from] : []));
  const raised: Span[] = [];
  const at = (i: number): number => c.t[Math.max(0, Math.min(c.t.length - 1, i))]!;
  for (let i = 0; i < x.count; i++) {
    if (isPulse(c, x, i)) continue;
    edges.push(x.first[i]!, x.last[i]!);
    raised.push({ startS: at(x.first[i]! - 1), endS: at(x.last[i]! + 1) });
  }
  return { edges: mergeSpans(edges.map((i) => ({ startS: at(i - 2), endS: at(i + 1) }))), raised };
}

/** A train whose single pulses tell its period: it is resolved, and at most of its beats a pulse was seen. */
function isSure(r: MeasuredRegime): boolean {
  return r.resolved && r.hitRate > 0.75 && r.duty < MOST_DUTY;
}

/** Where pulses take up more of the period, they run into each other. */
const MOST_DUTY = 0.6;

function coversMuch(regimes: readonly MeasuredRegime[], c: Conditioned): boolean {
  const covered = mergeSpans(regimes.map((r) => ({ startS: r.stretch.firstS, endS: r.stretch.lastS })));
  return overlapOf(covered, -Infinity, Infinity) > 0.02 * (endOf(c) - (c.t[0] ?? 0));
}

/** Folding has the last word where single pulses did not settle it. */
function preferFolded(seen: readonly MeasuredRegime[], folded: readonly MeasuredRegime[]): MeasuredRegime[] {
  const spans = mergeSpans(folded.map((r) => ({ startS: r.stretch.firstS, endS: r.stretch.lastS })));
  const kept = seen.filter((r) => {
    const { firstS, lastS } = r.stretch;
    return isSure(r) || overlapOf(spans, firstS, lastS) < 0.5 * (lastS - firstS);
  });
  return [...kept, ...folded].sort((a, b) => a.stretch.firstS - b.stretch.firstS);
}

/** Samples that lie neither in a long excursion nor at a step. */
function quietSamples(c: Conditioned, x: Excursions, levels: readonly Level[]): (sample: number) => boolean {
  const covered = new Uint8Array(c.t.length);
  for (let i = 0; i < x.count; i++)
    if (!isPulse(c, x, i)) covered.fill(1, Math.max(0, x.first[i]! - 2), x.last[i]! + 3);
  for (const l of levels) if (l.from > 0) covered.fill(1, Math.max(0, l.from - 2), l.from + 2);
  return (sample) => covered[sample] === 0;
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

/** Polling goes on under a wake-up: its share of the charge belongs to the polling. */
function withoutPolling(w: Raised, regimes: readonly MeasuredRegime[]): Raised {
  let charge = w.charge;
  for (const r of regimes) {
    const from = Math.max(w.startS, r.stretch.firstS);
    const to = Math.min(w.startS + w.durationS, r.stretch.lastS);
    charge -= Math.max(0, to - from) * r.averageA;
  }
  return { ...w, charge };
}
