import { joinBursts } from './bursts.ts';
import { byAllReadings } from './by-all-readings.ts';
import type { Hidden } from './mean-excess.ts';
import { mergeSpans, overlapOf, type Conditioned, type Span } from './condition.ts';
import type { MeterErrors } from './dc.ts';
import type { Excursions } from './excursions.ts';
import { hasDeadTime } from './dead-time.ts';
import { endOf, type FloorOverTime } from './floor.ts';
import { foldedRegimes } from './folded-regimes.ts';
import { LOCK_WINDOW, lockOn } from './lock.ts';
import type { Level } from './levels.ts';
import { collectPulses, type Pulses } from './pulses.ts';
import { measureRegimes, type MeasuredRegime } from './regimes.ts';
import { commonS } from './stretches.ts';
import { findTrains, type Timing } from './trains.ts';
import { isPulse } from './wake-ups.ts';
import { withFolded } from './with-folded.ts';

/** Pulse trains over a floor, by single pulses where they show and by folding where they do not. */

export interface Ground {
  readonly excursions: Excursions;
  readonly levels: readonly Level[];
  readonly threshold: number;
  readonly floor: FloorOverTime;
  readonly meter: MeterErrors;
}

export function findPolling(
  c: Conditioned,
  { excursions, levels, threshold, floor, meter }: Ground,
): { regimes: readonly MeasuredRegime[]; pulses: Pulses } {
  const single = collectPulses(
    c,
    excursions,
    threshold,
    levels.map((l) => l.from),
  );
  const timing = timingOf(c);
  const pulses = keepOneBeat(single, timing)
    ? single
    : joinBursts(
        single,
        (i) => c.t[single.first[i]!]!,
        (i) => c.t[single.last[i]!]!,
      );
  const stretches = findTrains(pulses, timing);
  const hidden = hiddenSpans(c, excursions, levels);
  const seen = measureRegimes(c, pulses, stretches, floor, meter, hidden).filter(
    (r) => !isWithinWakeUp(r, hidden),
  );
  const isSureHere = (r: MeasuredRegime): boolean => isSure(r, openShareOf(c));
  const whole = (): MeasuredRegime[] => {
    const folded = foldedRegimes(c, floor, quietSamples(c, excursions, levels), meter);
    const all = withFolded(seen, isSureHere, folded, timing);
    return all.map((r) => byAllReadings(c, r, all, { floor, hidden, meter, threshold }));
  };
  const isSettled =
    seen.length <= MOST_REGIMES && coversMuch(seen.filter(isSureHere), c) && !seen.some(runTogether);
  const regimes = isSettled ? seen : whole();
  return { regimes: regimes.filter((r) => !regimes.some((fast) => isBeatOf(r, fast))), pulses };
}

/** Of a train's length. */
const MOST_RAISED = 0.8;

/** What keeps a rhythm only for as long as something is awake belongs to that. */
function isWithinWakeUp({ stretch: { firstS, lastS } }: MeasuredRegime, { raised }: Hidden): boolean {
  return overlapOf(raised, firstS, lastS) > MOST_RAISED * (lastS - firstS);
}

const BEAT_LOOKS = 9;
const NEARLY_ALL = 0.9;

/**
 * Whether the pulses that a meter with dead time sees keep one beat, each by itself: a train in step with the readings
 * misses the same ones over and over, and what it leaves looks like bursts.
 */
function keepOneBeat(pulses: Pulses, timing: Timing): boolean {
  if (!hasDeadTime(timing) || pulses.count < LOCK_WINDOW) return false;
  const index = Int32Array.from({ length: pulses.count }, (_, i) => i);
  let keep = 0;
  for (let k = 0; k < BEAT_LOOKS; k++) {
    const start = Math.floor((k * (pulses.count - LOCK_WINDOW)) / (BEAT_LOOKS - 1));
    const lock = lockOn(pulses, index, start, timing);
    if (lock === null || lock.ownShare < NEARLY_ALL) continue;
    if (lock.hitRate > LEAST_SEEN * (timing.openShare ?? 1)) keep++;
  }
  return keep > BEAT_LOOKS / 2;
}

/** What trains are timed against. */
export function timingOf(c: Conditioned): Timing {
  const interval = c.intervalS ?? 1;
  const toleranceS = 0.55 * interval + c.jitterS + 0.002;
  return {
    toleranceS,
    readingS: interval,
    leastPeriodS: Math.max(1.9 * interval, 2 * c.jitterS),
    openShare: openShareOf(c),
    gaps: c.gaps,
  };
}

function openShareOf({ apertureS, intervalS }: Conditioned): number {
  return Math.min(1, (apertureS ?? Infinity) / (intervalS ?? 1));
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

/** More stretches than two trains that change their pace twice are scraps of one that hardly shows. */
const MOST_REGIMES = 6;

/** Of the beats that do not fall between apertures. */
const LEAST_SEEN = 0.75;

/**
 * A train whose single pulses tell its beat: a pulse was seen at most of those that did not fall between apertures. Where
 * none did it has to be resolved as well; with dead time folding sees no more than the single pulses.
 */
function isSure(r: MeasuredRegime, openShare: number): boolean {
  const told = r.resolved || hasDeadTime({ openShare });
  return told && r.hitRate > LEAST_SEEN * openShare && r.duty < MOST_DUTY;
}

/** Where pulses take up more of the period, they run into each other. */
const MOST_DUTY = 0.6;

/** What looks like a train of long pulses may be one whose pulses fill the readings between them. */
function runTogether(r: MeasuredRegime): boolean {
  return r.resolved && r.duty >= MOST_DUTY;
}

/** A train of which this share of the readings holds a pulse more than the others. */
const FAST_DUTY = 0.25;
const NO_HIGHER = 1.4;

/**
 * Where a train is too fast to time, its pulses fill neighbouring readings now and then: what such readings keep for a
 * rhythm is the train's slow beat with them, and stands no higher than one of its pulses.
 */
function isBeatOf(r: MeasuredRegime, fast: MeasuredRegime): boolean {
  if (!r.resolved || fast.resolved || fast.duty < FAST_DUTY) return false;
  const { firstS, lastS, periodS } = r.stretch;
  const beside = commonS(r.stretch, fast.stretch) > (lastS - firstS) / 2;
  return periodS > fast.stretch.periodS && beside && r.topA < NO_HIGHER * fast.topA;
}

function coversMuch(regimes: readonly MeasuredRegime[], c: Conditioned): boolean {
  const covered = mergeSpans(regimes.map((r) => ({ startS: r.stretch.firstS, endS: r.stretch.lastS })));
  return overlapOf(covered, -Infinity, Infinity) > 0.02 * (endOf(c) - (c.t[0] ?? 0));
}

/** Samples that lie neither in a long excursion nor at a step. */
function quietSamples(c: Conditioned, x: Excursions, levels: readonly Level[]): (sample: number) => boolean {
  const covered = new Uint8Array(c.t.length);
  for (let i = 0; i < x.count; i++)
    if (!isPulse(c, x, i)) covered.fill(1, Math.max(0, x.first[i]! - 2), x.last[i]! + 3);
  for (const l of levels) if (l.from > 0) covered.fill(1, Math.max(0, l.from - 2), l.from + 2);
  return (sample) => covered[sample] === 0;
}
