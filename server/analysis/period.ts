import { fitLine } from './statistics.ts';

/** A train's period as it really was on average from its first beat to its last, and how sure that is. */
export interface RealisedPeriod {
  readonly periodS: number;
  readonly standardU: number;
  /** Fitted time of slot 0. */
  readonly firstS: number;
  /** Standard deviation of the times about an even clock. */
  readonly deviation: number;
}

const LEAST_BLOCKS = 9;
/** The block that looks surest is chosen, and its neighbours are not quite independent. */
const CHOSEN = 1.4;

/**
 * Two estimates, the surer one counts. On a fixed clock a straight line through all beats: variance
 * 12 s^2 / (N (N^2 - 1)), the Cramer-Rao bound. Where every period restarts from the last beat the clock walks;
 * then what happened in the middle tells nothing about the ends, and the beats near either end, averaged over a
 * block, time the train: the scatter from block to block is the error of an end.
 */
export function realisedPeriod(slots: ArrayLike<number>, times: ArrayLike<number>): RealisedPeriod | null {
  const line = fitLine(slots, times);
  if (line === null) return null;
  const n = slots.length;
  const residual = Float64Array.from(
    { length: n },
    (_, i) => times[i]! - line.intercept - line.slope * slots[i]!,
  );
  const span = Math.max(1, slots[n - 1]! - slots[0]!);
  const near = meanSquareStep(residual, 1);
  const lag = Math.max(2, n >> 3);
  const walk = Math.max(0, meanSquareStep(residual, lag) - near) / ((span / Math.max(1, n - 1)) * lag);
  // A line's slope differs from the mean over a walk of N steps by a fifth of that mean's own variance.
  let best = {
    slope: line.slope,
    standardU: Math.hypot(line.slopeError, Math.sqrt((0.2 * walk) / span)),
  };
  for (let size = 1; size * LEAST_BLOCKS <= n; size *= 2) {
    const ends = endsOfBlocks(residual, size);
    const standardU = (CHOSEN * ends.error) / (span * (1 - size / n));
    if (standardU < best.standardU)
      best = { slope: line.slope + (ends.last - ends.first) / (span * (1 - size / n)), standardU };
  }
  return {
    periodS: best.slope,
    standardU: Math.hypot(best.standardU, 1e-9 * best.slope),
    firstS: line.intercept,
    deviation: line.residualDeviation,
  };
}

/** Means of the first and last block of so many, and the root mean square step from one block to the next. */
function endsOfBlocks(residual: Float64Array, size: number): { first: number; last: number; error: number } {
  const count = Math.floor(residual.length / size);
  const means = new Float64Array(count);
  for (let b = 0; b < count; b++) {
    let sum = 0;
    // Blocks are counted from both ends towards the middle, so that the last one ends at the last beat.
    const from = b < count / 2 ? b * size : residual.length - (count - b) * size;
    for (let i = from; i < from + size; i++) sum += residual[i]!;
    means[b] = sum / size;
  }
  return { first: means[0]!, last: means[count - 1]!, error: Math.sqrt(meanSquareStep(means, 1)) };
}

function meanSquareStep(x: Float64Array, lag: number): number {
  let sum = 0;
  let n = 0;
  for (let i = lag; i < x.length; i++) {
    sum += (x[i]! - x[i - lag]!) ** 2;
    n++;
  }
  return n === 0 ? 0 : sum / n;
}
