import { overlapOf } from './condition.ts';
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
  for (const { periodS, anchor } of candidates(times, timing)) {
    const tried = tryPeriod(times, blur, anchor, periodS, timing);
    if (tried === null || tried.score <= bestScore * 1.0001) continue;
    bestScore = tried.score;
    best = { periodS: tried.periodS, anchorS: times[anchor]!, from: start + anchor, hitRate: tried.hitRate };
  }
  return best;
}

/** Differences between each of the first pulses and the next few. */
function candidates(times: Float64Array, timing: Timing): { periodS: number; anchor: number }[] {
  const out: { periodS: number; anchor: number }[] = [];
  const anchors = Math.min(times.length - 1, 6);
  for (let a = 0; a < anchors; a++)
    for (let b = a + 1; b < Math.min(times.length, a + 9); b++) {
      const periodS = times[b]! - times[a]!;
      if (periodS >= timing.leastPeriodS) out.push({ periodS, anchor: a });
    }
  return out;
}

interface Tried {
  readonly score: number;
  readonly hitRate: number;
  readonly periodS: number;
}

function tryPeriod(
  times: Float64Array,
  blur: Float64Array,
  anchor: number,
  first: number,
  timing: Timing,
): Tried | null {
  const tol = timing.toleranceS;
  const clock = new PulseClock(times[anchor]!, first, tol);
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
  if (clock.residual() > 0.75 * tol + 0.5 * blurred) return null;
  return { score: hits * hitRate, hitRate, periodS: period };
}
