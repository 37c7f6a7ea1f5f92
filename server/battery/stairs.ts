import { lowerBound, type Conditioned } from '../analysis/condition.ts';
import { median } from '../analysis/statistics.ts';

/** A stair takes so many readings of the current, and seconds: polling pulses are fewer and stand aside. */
const LEAST_READINGS = 5;
const LEAST_S = 1.5;
/** Stairs that differ by no more are one level: amperes, digits, deviations of a reading, part of the load. */
const SAME_A = 0.01;
const SAME_DIGITS = 1.5;
const SAME_DEVIATIONS = 4;
const SAME_SHARE = 0.1;

/** The load without its pulses: medians of the current over short times, one after the other. */
export class Stairs {
  private readonly levels: readonly number[];
  private readonly fromS: number;
  private readonly widthS: number;
  private readonly same: number;

  /** `noise` of one reading, amperes. */
  constructor(current: Conditioned, fromS: number, toS: number, noise: number) {
    this.fromS = fromS;
    this.widthS = Math.max(LEAST_S, LEAST_READINGS * (current.intervalS ?? 1));
    this.same = Math.max(SAME_A, SAME_DIGITS * (current.resolution ?? 0), SAME_DEVIATIONS * noise);
    const levels: number[] = [];
    for (let k = 0; fromS + k * this.widthS < toS; k++) {
      const from = lowerBound(current.t, fromS + k * this.widthS);
      levels.push(median(current.y.subarray(from, lowerBound(current.t, fromS + (k + 1) * this.widthS))));
    }
    this.levels = levels;
  }

  /** Amperes; null where the load changes in that time, or was not read. */
  levelOver(fromS: number, toS: number): number | null {
    const first = Math.max(0, Math.floor((fromS - this.fromS) / this.widthS));
    const last = Math.min(this.levels.length - 1, Math.floor((toS - this.fromS) / this.widthS));
    let [least, most, sum] = [Infinity, -Infinity, 0];
    for (let k = first; k <= last; k++) {
      const level = this.levels[k]!;
      sum += level;
      least = Math.min(least, level);
      most = Math.max(most, level);
    }
    // A stair without readings is not a number, and is not the same as any.
    const isStill = most >= least && most - least <= Math.max(this.same, SAME_SHARE * Math.abs(most));
    return isStill ? sum / (last - first + 1) : null;
  }
}
