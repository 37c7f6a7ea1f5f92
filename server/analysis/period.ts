import { fitLine, type LineFit } from './statistics.ts';
import { clockWalk, type ClockWalk } from './walk.ts';

/** A train's period as it really was on average from its first beat to its last, and how sure that is. */
export interface RealisedPeriod {
  readonly periodS: number;
  readonly standardU: number;
  /** Fitted time of slot 0. */
  readonly firstS: number;
  /** Standard deviation of the times about an even clock. */
  readonly deviation: number;
}

/** Half of all clocks do not walk: as likely beforehand as some ratios in steps of four together. */
const STEADY_BEFOREHAND = Math.log(8);
/** A ratio this much less likely than the best (natural logarithm) has no say. */
const LEAST_LIKELY = 7;

/**
 * Every time is off by itself (reading, white jitter), and where every period restarts from the last beat the clock
 * walks besides. How far it walks in a beat against how far a time is off by itself is not known: every ratio gives
 * its own best estimate, from a straight line through all beats where nothing walks (Cramer-Rao: 12 s^2 / (N (N^2 - 1)))
 * to the two beats at the ends where all of it does. They are averaged by their likelihoods, and how far they lie apart
 * is part of the uncertainty (mixture of distributions, JCGM 101:2008, 5.1.1 and 6).
 *
 * `leastTimingS` is the standard deviation that a time is known to have at least, however smoothly the times run:
 * those of a train nearly in step with the readings slide through a reading and jump, which is no walk of the clock.
 */
export function realisedPeriod(
  slots: ArrayLike<number>,
  times: ArrayLike<number>,
  leastTimingS = 0,
): RealisedPeriod | null {
  const line = fitLine(slots, times);
  if (line === null) return null;
  const n = slots.length;
  const span = slots[n - 1]! - slots[0]!;
  const from = new Float64Array(n);
  const residual = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    from[i] = slots[i]! - slots[0]!;
    residual[i] = times[i]! - line.intercept - line.slope * slots[i]!;
  }
  const seen = likelyWalks(from, residual, line, leastTimingS);
  const best = Math.max(...seen.map((w) => w.logLikelihood));
  const weights = seen.map((w) => Math.exp(w.logLikelihood - best));
  const total = weights.reduce((a, b) => a + b, 0);
  const average = (of: (w: ClockWalk) => number): number =>
    seen.reduce((sum, w, i) => sum + weights[i]! * of(w), 0) / total;
  const gained = average((w) => w.gained);
  const variance = average((w) => w.variance + (w.gained - gained) ** 2);
  const periodS = line.slope + gained / span;
  return {
    periodS,
    standardU: Math.hypot(Math.sqrt(variance) / span, 1e-9 * periodS),
    firstS: line.intercept + line.slope * slots[0]! + average((w) => w.first) - periodS * slots[0]!,
    deviation: line.residualDeviation,
  };
}

/** Ratios in steps of four around the likeliest, from what would change a line's slope by nothing to a pure walk. */
function likelyWalks(
  slots: Float64Array,
  residual: Float64Array,
  line: LineFit,
  leastTimingS: number,
): readonly ClockWalk[] {
  const n = slots.length;
  const span = slots[n - 1]!;
  const unit = line.residualDeviation > 0 ? line.residualDeviation : 1;
  const scaled = residual.map((x) => x / unit);
  const least = 1 / (n * span);
  const top = Math.ceil(Math.log(100 / least) / Math.log(4));
  const found = new Map<number, ClockWalk>();
  const at = (step: number): number => {
    let w = found.get(step);
    if (w === undefined) {
      w = clockWalk(slots, scaled, step === 0 ? 0 : least * 4 ** step, (leastTimingS / unit) ** 2);
      if (step === 0) w = { ...w, logLikelihood: w.logLikelihood + STEADY_BEFOREHAND };
      found.set(step, w);
    }
    return w.logLikelihood;
  };
  let peak = top >> 1;
  while (peak > 0 && at(peak - 1) >= at(peak)) peak--;
  while (peak < top && at(peak + 1) > at(peak)) peak++;
  for (let k = peak - 1; k > 0 && at(k) > at(peak) - LEAST_LIKELY; k--);
  at(0);
  for (let k = peak + 1; k <= top && at(k) > at(peak) - LEAST_LIKELY; k++);
  return [...found.values()].map((w) => ({
    logLikelihood: w.logLikelihood,
    gained: w.gained * unit,
    variance: w.variance * unit ** 2,
    first: w.first * unit,
  }));
}
