import { joinBursts } from './bursts.ts';
import { mergeSpans, overlapOf, type Conditioned, type Span } from './condition.ts';
import type { MeterErrors } from './dc.ts';
import type { Excursions } from './excursions.ts';
import { endOf, type FloorOverTime } from './floor.ts';
import { foldedRegimes } from './folded-regimes.ts';
import type { Level } from './levels.ts';
import { collectPulses, type Pulses } from './pulses.ts';
import { measureRegimes, type Hidden, type MeasuredRegime } from './regimes.ts';
import { findTrains, type Timing } from './trains.ts';
import { isPulse } from './wake-ups.ts';

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
  const pulses = joinBursts(
    single,
    (i) => c.t[single.first[i]!]!,
    (i) => c.t[single.last[i]!]!,
  );
  const stretches = findTrains(pulses, timingOf(c));
  const seen = measureRegimes(c, pulses, stretches, floor, meter, hiddenSpans(c, excursions, levels));
  const regimes =
    seen.length <= MOST_REGIMES && coversMuch(seen.filter(isSure), c) && !seen.some(runTogether)
      ? seen
      : preferFolded(seen, foldedRegimes(c, floor, quietSamples(c, excursions, levels), meter));
  return { regimes: regimes.filter((r) => !regimes.some((fast) => isBeatOf(r, fast))), pulses };
}

/** What trains are timed against. */
export function timingOf(c: Conditioned): Timing {
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

/** More stretches than two trains that change their pace twice are scraps of one that hardly shows. */
const MOST_REGIMES = 6;

/** A train whose single pulses tell its period: it is resolved, and at most of its beats a pulse was seen. */
function isSure(r: MeasuredRegime): boolean {
  return r.resolved && r.hitRate > 0.75 && r.duty < MOST_DUTY;
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
  const common = Math.min(lastS, fast.stretch.lastS) - Math.max(firstS, fast.stretch.firstS);
  return periodS > fast.stretch.periodS && common > 0 && r.topA < NO_HIGHER * fast.topA;
}

function coversMuch(regimes: readonly MeasuredRegime[], c: Conditioned): boolean {
  const covered = mergeSpans(regimes.map((r) => ({ startS: r.stretch.firstS, endS: r.stretch.lastS })));
  return overlapOf(covered, -Infinity, Infinity) > 0.02 * (endOf(c) - (c.t[0] ?? 0));
}

const SAME_PERIOD = 1e-3;

/** A train that kept its beat for less than this of what folding covers is a scrap of it. */
const SCRAP = 0.1;

/** Folding has the last word where single pulses did not settle it. */
function preferFolded(seen: readonly MeasuredRegime[], folded: readonly MeasuredRegime[]): MeasuredRegime[] {
  const spans = mergeSpans(folded.map((r) => ({ startS: r.stretch.firstS, endS: r.stretch.lastS })));
  const kept = seen.filter((r) => {
    const { firstS, lastS } = r.stretch;
    const lengthS = lastS - firstS;
    const inside = overlapOf(spans, firstS, lastS) >= 0.5 * lengthS;
    return !inside || (isSure(r) && lengthS > SCRAP * overlapOf(spans, -Infinity, Infinity));
  });
  const twice = (r: MeasuredRegime): boolean =>
    kept.some((k) => {
      const { firstS, lastS, periodS } = r.stretch;
      const common = Math.min(lastS, k.stretch.lastS) - Math.max(firstS, k.stretch.firstS);
      return Math.abs(k.stretch.periodS / periodS - 1) < SAME_PERIOD && common > 0.8 * (lastS - firstS);
    });
  return [...kept, ...folded.filter((r) => !twice(r))].sort((a, b) => a.stretch.firstS - b.stretch.firstS);
}

/** Samples that lie neither in a long excursion nor at a step. */
function quietSamples(c: Conditioned, x: Excursions, levels: readonly Level[]): (sample: number) => boolean {
  const covered = new Uint8Array(c.t.length);
  for (let i = 0; i < x.count; i++)
    if (!isPulse(c, x, i)) covered.fill(1, Math.max(0, x.first[i]! - 2), x.last[i]! + 3);
  for (const l of levels) if (l.from > 0) covered.fill(1, Math.max(0, l.from - 2), l.from + 2);
  return (sample) => covered[sample] === 0;
}
