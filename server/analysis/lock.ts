import { overlapOf } from './condition.ts';
import { hasDeadTime } from './dead-time.ts';
import { gatheringPeriods } from './phase-peaks.ts';
import { PulseClock } from './pulse-clock.ts';
import { valuesAt } from './statistics.ts';
import type { PulseTimes, Timing } from './trains.ts';

/** Finding the beat: the period that most of a window of pulses keeps. */

export const LOCK_WINDOW = 96;
export const LOCK_LEAST = 5;
/** Of a real train's pulses a meter with dead time still sees some; fewer than this are coincidences. */
const LEAST_HIT_RATE = 0.1;

export interface Lock {
  readonly periodS: number;
  readonly anchorS: number;
  /** Position in `index` of the anchor. */
  readonly from: number;
  readonly hitRate: number;
  /** Share of the pulses from the anchor on, in the window, that are on the beat. */
  readonly ownShare: number;
  /** Periods over which the beat was found as a whole; 0 where one pulse led to the next. */
  readonly knownFor: number;
}

/**
 * Candidates are the differences between near pulses; a candidate is scored by its hits times its hit rate,
 * which neither a multiple nor a fraction of the true period can beat, and must do far better than chance.
 */
export function lockOn(pulses: PulseTimes, index: Int32Array, start: number, timing: Timing): Lock | null {
  const window = index.subarray(start, Math.min(index.length, start + LOCK_WINDOW));
  const times = valuesAt(pulses.at, window);
  const blur = valuesAt(pulses.blur, window);
  let best: Lock | null = null;
  let bestScore = 0;
  const differences = candidates(times, timing);
  for (const candidate of [...differences, ...fastCandidates(times, timing)]) {
    const { anchor, knownFor } = candidate;
    const tried = tryPeriod(times, blur, candidate, timing);
    if (tried === null || tried.score <= bestScore * 1.0001) continue;
    bestScore = tried.score;
    const { hitRate, hits } = tried;
    const ownShare = hits / (times.length - anchor);
    best = {
      periodS: tried.periodS,
      anchorS: times[anchor]!,
      from: start + anchor,
      hitRate,
      ownShare,
      knownFor,
    };
  }
  return best;
}

interface Candidate {
  readonly periodS: number;
  /** Which of the times it is counted from. */
  readonly anchor: number;
  readonly knownFor: number;
}

/** Below so many readings to a period, a difference of two times is too coarse where others are missing. */
const COARSE = 8;
const FAST_LOOKS = 48;
const MOST_FAST = 3;

/** Where pulses fall between apertures: periods of a few readings at which those that are seen share a phase. */
function fastCandidates(times: Float64Array, timing: Timing): Candidate[] {
  if (!hasDeadTime(timing) || times.length < 2 * LOCK_LEAST) return [];
  const looks = times.subarray(0, FAST_LOOKS);
  const longestS = COARSE * timing.readingS;
  const spanS = looks[looks.length - 1]! - looks[0]!;
  const pitchS = spanS / (looks.length - 1);
  // So many misses are not believed either.
  if (pitchS * LEAST_HIT_RATE > longestS) return [];
  return gatheringPeriods(looks, timing.leastPeriodS, Math.min(longestS, pitchS), MOST_FAST).map(
    (periodS) => ({
      periodS,
      anchor: 0,
      knownFor: Math.floor(spanS / periodS),
    }),
  );
}

/** Of pulses that fall between apertures, among so many in a row two are seen where a quarter of the time is. */
const MOST_IN_ROW = 4;

/** Differences between each of the first pulses and the next few, and with dead time what several periods may add up to. */
function candidates(times: Float64Array, timing: Timing): Candidate[] {
  const out: Candidate[] = [];
  const most = hasDeadTime(timing) ? MOST_IN_ROW : 1;
  const anchors = Math.min(times.length - 1, 6);
  for (let a = 0; a < anchors; a++)
    for (let b = a + 1; b < Math.min(times.length, a + 9); b++) {
      const difference = times[b]! - times[a]!;
      for (let k = 1; k <= most && difference >= k * timing.leastPeriodS; k++)
        out.push({ periodS: difference / k, anchor: a, knownFor: 0 });
    }
  return out;
}

/** What hits that scatter as far as they may do to a score. */
const SCATTERED = 0.25;

/**
 * Where dead time misses pulses, a clock that is hit as often as it lets through is as good as one that always is; of
 * two such clocks the slower one, and the one whose hits lie closer to its beats: those that an aperture lets through
 * lie as close as it is short.
 */
function likeness(hitRate: number, scatter: number, { openShare = 1 }: Timing): number {
  return Math.min(1, hitRate / openShare) * (1 + 0.01 * hitRate) * (1 - SCATTERED * Math.min(1, scatter));
}

interface Tried {
  readonly score: number;
  readonly hits: number;
  readonly hitRate: number;
  readonly periodS: number;
}

function tryPeriod(
  times: Float64Array,
  blur: Float64Array,
  { anchor, periodS, knownFor }: Candidate,
  timing: Timing,
): Tried | null {
  const tol = timing.toleranceS;
  const clock = new PulseClock(times[anchor]!, periodS, tol, knownFor);
  let hits = 1;
  for (let i = anchor + 1; i < times.length; i++) {
    const steps = clock.stepsTo(times[i]!, blur[i]!);
    if (steps === 0) continue;
    clock.hit(steps, times[i]!);
    hits++;
  }
  const period = clock.periodS;
  if (hits < LOCK_LEAST || period < timing.leastPeriodS) return null;
  const through = times[times.length - 1]!;
  const lost = overlapOf(timing.gaps, times[anchor]!, through);
  const slots = Math.max(clock.slot + 1, Math.round((through - times[anchor]! - lost) / period) + 1);
  const hitRate = hits / slots;
  const density = times.length / Math.max(through - times[anchor]!, period);
  const chance = Math.min(0.98, 1 - Math.exp(-density * Math.min(2 * tol, 0.7 * period)));
  const z = (hits - slots * chance) / Math.sqrt(slots * chance * (1 - chance));
  const sparse = hitRate < 0.5;
  if (hitRate < LEAST_HIT_RATE || (sparse && hits < 2 * LOCK_LEAST) || z < (sparse ? 6 : 4)) return null;
  const blurred = blur.reduce((most, b) => Math.max(most, b), 0);
  const residual = clock.residual();
  if (residual > 0.75 * tol + 0.5 * blurred) return null;
  const score = hits * (hasDeadTime(timing) ? likeness(hitRate, residual / tol, timing) : hitRate);
  return { score, hits, hitRate, periodS: period };
}
