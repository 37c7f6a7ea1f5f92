import { largestGap, withoutSlide } from './in-step.ts';
import { fitLine, lag1Autocorrelation, standardDeviation, type LineFit } from './statistics.ts';
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

/** What quantises the times of pulses. */
export interface Readings {
  /** 0 where the times are exact. */
  readonly lengthS: number;
  /** Standard deviation of the times of pulses that fall anywhere into them. */
  readonly scatterS: number;
  /** Of the pulses: one that falls into two readings shows where it is. */
  readonly widthS: number;
}

/** This much of that scatter every time has at least. */
const LEAST_TIMING = 0.65;
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
 * Times taken from `readings` are off by their places in them, too: what the places account for is taken off; else a
 * time has a least uncertainty, however smoothly it slides through the readings. Beats in step with them do not show
 * where they are at all.
 */
export function realisedPeriod(
  slots: ArrayLike<number>,
  times: ArrayLike<number>,
  readings: Readings = { lengthS: 0, scatterS: 0, widthS: 0 },
): RealisedPeriod | null {
  const line = fitLine(slots, times);
  if (line === null) return null;
  const { lengthS, scatterS, widthS } = readings;
  const turn = lengthS > 0 ? line.slope / lengthS : 0;
  const seenOff = aboutLine(slots, times, line);
  const unslid = lengthS > 0 ? withoutSlide(seenOff.slots, seenOff.residual, turn) : null;
  const { mean, residual, each } = independentBlocks({
    ...seenOff,
    residual: unslid ?? seenOff.residual,
  });
  const origin = mean[0]!;
  const span = mean[mean.length - 1]! - origin;
  const from = mean.map((s) => s - origin);
  const leastTimingS = unslid === null ? (LEAST_TIMING * scatterS) / Math.sqrt(each) : 0;
  const seen = likelyWalks(from, residual, line, leastTimingS);
  const best = Math.max(...seen.map((w) => w.logLikelihood));
  const weights = seen.map((w) => Math.exp(w.logLikelihood - best));
  const total = weights.reduce((a, b) => a + b, 0);
  const average = (of: (w: ClockWalk) => number): number =>
    seen.reduce((sum, w, i) => sum + weights[i]! * of(w), 0) / total;
  const gained = average((w) => w.gained);
  // A clock's place at either end is told by as many beats as it does not walk farther in than they scatter.
  const most = slots.length / LEAST_ENDS;
  const still = (ratio: number): number =>
    scatterS *
    Math.max(0, largestGap(turn, Math.min(most, Math.sqrt(each / ratio))) - widthS / Math.max(lengthS, 1e-9));
  const variance = average((w) => w.variance + 2 * still(w.ratio) ** 2 + (w.gained - gained) ** 2);
  const periodS = line.slope + gained / span;
  return {
    periodS,
    standardU: Math.hypot(Math.sqrt(variance) / span, 1e-9 * periodS),
    firstS: line.intercept + (line.slope - periodS) * (slots[0]! + origin) + average((w) => w.first),
    deviation: line.residualDeviation,
  };
}

/** A straight line's ends are each told by about this part of its beats. */
const LEAST_ENDS = 4;

interface Beats {
  /** From the first. */
  readonly slots: Float64Array;
  /** Times about a line. */
  readonly residual: Float64Array;
}

function aboutLine(slots: ArrayLike<number>, times: ArrayLike<number>, line: LineFit): Beats {
  const n = slots.length;
  const out = { slots: new Float64Array(n), residual: new Float64Array(n) };
  for (let i = 0; i < n; i++) {
    out.slots[i] = slots[i]! - slots[0]!;
    out.residual[i] = times[i]! - line.intercept - line.slope * slots[i]!;
  }
  return out;
}

interface Blocks {
  /** Mean slot of each block, and mean of its times about the line. */
  readonly mean: Float64Array;
  readonly residual: Float64Array;
  /** Times in a block. */
  readonly each: number;
}

/** Fewer blocks do not tell a walk from what is left of the readings. */
const LEAST_BLOCKS = 12;
/** Standard deviations of the autocorrelation of independent values. */
const ALIKE = 2;
/** Deviation of the blocks' means against that of single times: a clock that walks keeps nearly all of it. */
const AVERAGED_OUT = 0.4;

/**
 * A train that slides through the readings is seen early, then late, then early again, much as if its clock walked; but
 * over a block as long as that beat it averages out, and a walk does not. These are the shortest blocks whose means
 * are not alike from one to the next, if most of the scatter is gone in them; else the times themselves.
 */
function independentBlocks(beats: Beats): Blocks {
  const single = { mean: beats.slots, residual: beats.residual, each: 1 };
  const scatter = standardDeviation(single.residual);
  let blocks: Blocks = single;
  while (lag1Autocorrelation(blocks.residual) > ALIKE / Math.sqrt(blocks.residual.length)) {
    const each = 2 * blocks.each;
    if (beats.slots.length / each < LEAST_BLOCKS) return single;
    blocks = blocksOf(beats, each);
  }
  return standardDeviation(blocks.residual) < AVERAGED_OUT * scatter ? blocks : single;
}

function blocksOf({ slots, residual }: Beats, each: number): Blocks {
  const count = Math.floor(slots.length / each);
  const out = { mean: new Float64Array(count), residual: new Float64Array(count), each };
  for (let k = 0; k < count; k++) {
    const from = k * each;
    // The last block takes what is left over.
    const to = k + 1 === count ? slots.length : from + each;
    for (let i = from; i < to; i++) {
      out.mean[k]! += slots[i]! / (to - from);
      out.residual[k]! += residual[i]! / (to - from);
    }
  }
  return out;
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
    ratio: w.ratio,
    logLikelihood: w.logLikelihood,
    gained: w.gained * unit,
    variance: w.variance * unit ** 2,
    first: w.first * unit,
  }));
}
