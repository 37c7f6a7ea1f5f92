import { figure, resolutionUncertainty } from '../analysis/accuracy.ts';
import { lowerBound } from '../analysis/condition.ts';
import { mean, standardDeviation } from '../analysis/statistics.ts';
import type { Estimate } from '../messages/findings.ts';
import { figureText } from '../messages/figures.ts';

/** The step in the draw when a fuse is pulled, from the readings on both sides of it. */

export interface FuseStep {
  readonly beforeA: Estimate;
  readonly afterA: Estimate;
  /** Before minus after: what the circuit drew. Null where the readings do not carry it. */
  readonly stepA: Estimate;
  /** False while later readings may still change the figure. */
  readonly isFinal: boolean;
  readonly says: string;
}

/** So much of the draw is averaged on either side: several pulses of any polling that a parked car has. */
export const SIDE_S = 20;
/** The hand that pulls, and the first start of a unit that is woken by it. */
const CLEAR_S = 2;
/** What the pull woke is given so long to sleep again. */
export const SETTLE_WITHIN_S = 180;
const LATER_BY_S = 5;
/** Averages of so many parts of a side tell how far its mean can be trusted, pulses and drift included. */
const PARTS = 5;
const LEAST_READINGS = 10;

interface Side {
  readonly level: number;
  readonly u: number;
  readonly settled: boolean;
}

/**
 * `t` in seconds, `y` in amperes, live readings; `atS` the tap as the fuse came out; `untilS` where the next fuse was
 * touched, or null. Errors of the meter's zero and gain are common to both sides and cancel in the step.
 */
export function measureFuseStep(
  t: Float64Array,
  y: Float64Array,
  resolution: number | null,
  atS: number,
  untilS: number | null,
): FuseStep {
  const nothing = { beforeA: null, afterA: null, stepA: null };
  const before = sideOf(t, y, resolution, atS - CLEAR_S - SIDE_S, atS - CLEAR_S);
  if (before === null)
    return { ...nothing, isFinal: true, says: 'Too few readings before the fuse was pulled.' };
  const beforeA = figure(before.level, before.u);
  if (!before.settled)
    return { ...nothing, beforeA, isFinal: true, says: 'The draw was not steady before the fuse was pulled: wait for sleep, then pull it again.' }; // prettier-ignore
  const lastS = t[t.length - 1] ?? -Infinity;
  const endS = Math.min(untilS ?? Infinity, atS + SETTLE_WITHIN_S);
  const isFinal = untilS !== null || lastS >= endS;
  let after: Side | null = null;
  let anything = false;
  for (let from = atS + CLEAR_S; from + SIDE_S <= Math.min(endS, lastS + 1); from += LATER_BY_S) {
    const side = sideOf(t, y, resolution, from, from + SIDE_S);
    anything ||= side !== null;
    if (!side?.settled) continue;
    // What the pull woke may hold steady for a while: a later side that lies clearly lower is nearer to the truth.
    if (after === null || side.level < after.level - 2 * Math.hypot(side.u, after.u)) after = side;
  }
  if (after !== null) {
    const stepA = figure(before.level - after.level, before.u, after.u);
    return { beforeA, afterA: figure(after.level, after.u), stepA, isFinal, says: saysOf(stepA) };
  }
  return {
    ...nothing,
    beforeA,
    isFinal,
    says: !isFinal
      ? 'Being measured: leave the fuse out and everything still for 25 s.'
      : anything
        ? 'The draw did not settle after the fuse was pulled: something woke. Wait for sleep and pull it again.'
        : 'Too few readings after the fuse was pulled: leave it out for 25 s.',
  };
}

/** The whole draw by the clamp over the last readings; null where they are too few or not steady. */
export function steadyDraw(t: Float64Array, y: Float64Array, resolution: number | null): Estimate {
  const lastS = t[t.length - 1];
  const side = lastS === undefined ? null : sideOf(t, y, resolution, lastS - SIDE_S, lastS + 1e-9);
  return side?.settled === true ? figure(side.level, side.u) : null;
}

function saysOf(step: Estimate): string {
  if (step === null) return 'The readings carry no figure.';
  const u = step.expandedUncertainty;
  if (Math.abs(step.value) <= u)
    return `No step stands out: this circuit draws less than ${figureText(Math.max(step.value, 0) + u, 'current')}.`;
  if (step.value < 0)
    return 'The draw rose when the fuse came out: pulling it woke something. Wait for sleep and pull it again.';
  return '';
}

/** The mean of a side; settled when its two ends agree within what the parts between them spread. */
function sideOf(
  t: Float64Array,
  y: Float64Array,
  resolution: number | null,
  fromS: number,
  toS: number,
): Side | null {
  const [from, to] = [lowerBound(t, fromS), lowerBound(t, toS)];
  const n = to - from;
  const covers = n >= LEAST_READINGS && t[from]! - fromS < 0.2 * SIDE_S && toS - t[to - 1]! < 0.2 * SIDE_S;
  if (!covers) return null;
  const parts = Array.from({ length: PARTS }, (_, i) =>
    mean(y.subarray(from + Math.floor((i * n) / PARTS), from + Math.floor(((i + 1) * n) / PARTS))),
  );
  const level = mean(y.subarray(from, to));
  const digitU = resolutionUncertainty(resolution ?? 0);
  // Five parts know their own spread badly: Student's t for 4 degrees of freedom at 95.45 % is 2.87, for many 2.
  const u = Math.hypot((1.43 * standardDeviation(parts)) / Math.sqrt(PARTS), digitU);
  return { level, u, settled: isSettled(parts, y.subarray(from, to), level, digitU) };
}

/** A side drifts where its parts rise or fall all the way, by more than chance and by what matters. */
function isSettled(parts: readonly number[], y: Float64Array, level: number, digitU: number): boolean {
  const range = Math.max(...parts) - Math.min(...parts);
  const scatter = standardDeviation(y) / Math.sqrt(y.length / PARTS);
  return range <= Math.max(6 * scatter, 4 * digitU, 0.03 * Math.abs(level));
}
