import { overlapOf, type Span } from './condition.ts';
import { surestRun, type Followed } from './follow.ts';
import { LOCK_LEAST } from './lock.ts';
import { fitLine, median } from './statistics.ts';
import type { PulseTimes, Stretch, Timing } from './trains.ts';

/** A followed train as a stretch with one period, its uncertainty, and stretches that belong together. */

/** The largest m of which nearly all steps between the hits [a, b] are multiples. */
function commonMultiple(slots: Float64Array, a: number, b: number): number {
  let most = Infinity;
  for (let i = a; i < b; i++) most = Math.min(most, slots[i + 1]! - slots[i]!);
  for (let m = Math.min(12, Math.max(1, 2 * most)); m > 1; m--) {
    let fits = 0;
    for (let i = a; i < b; i++) if ((slots[i + 1]! - slots[i]!) % m === 0) fits++;
    if (fits >= 0.9 * (b - a)) return m;
  }
  return 1;
}

/** Slots with those that fell into gaps taken out, so that a gap does not count as misses. */
function slotsWithoutGaps(at: Float64Array, f: Followed, hits: number, gaps: readonly Span[]): Float64Array {
  const out = f.slots.slice(0, hits);
  const span = at[f.members[hits - 1]!]! - at[f.members[0]!]!;
  const period = span / Math.max(1, f.slots[hits - 1]!);
  let lost = 0;
  for (let i = 1; i < hits; i++) {
    const steps = f.slots[i]! - f.slots[i - 1]!;
    if (steps > 2) {
      const hidden = overlapOf(gaps, at[f.members[i - 1]!]!, at[f.members[i]!]!);
      lost += Math.min(steps - 1, Math.round(hidden / period));
    }
    out[i] = f.slots[i]! - lost;
  }
  return out;
}

export function toStretch(pulses: PulseTimes, f: Followed, hits: number, timing: Timing): Stretch | null {
  const { at } = pulses;
  if (hits < LOCK_LEAST) return null;
  const run = surestRun(slotsWithoutGaps(at, f, hits, timing.gaps), hits);
  if (run.to - run.from < LOCK_LEAST) return null;
  const base = f.slots[run.from]!;
  const multiple = commonMultiple(f.slots, run.from, run.to - 1);
  const members: number[] = [];
  const slots: number[] = [];
  for (let i = run.from; i < run.to; i++) {
    const s = f.slots[i]! - base;
    if (s % multiple !== 0) continue;
    members.push(f.members[i]!);
    slots.push(s / multiple);
  }
  const times = members.map((i) => at[i]!);
  const fit = fitLine(slots, times);
  if (fit === null) return null;
  const lastSlot = slots[slots.length - 1]!;
  return {
    firstS: fit.intercept,
    lastS: fit.intercept + fit.slope * lastSlot,
    periodS: fit.slope,
    periodU: Math.hypot(
      periodUncertainty(slots, times, fit.intercept, fit.slope, fit.slopeError),
      stillWithin(pulses, members, timing.readingS, fit.residualDeviation) / lastSlot,
    ),
    pulses: lastSlot + 1,
    members: Int32Array.from(members),
    slots: Float64Array.from(slots),
  };
}

/**
 * Times quantised by readings that keep step with the train do not scatter, and so do not show how far they
 * are off: what is missing of the scatter that readings of this length would give stands at either end.
 */
function stillWithin(
  pulses: PulseTimes,
  members: readonly number[],
  readingS: number,
  deviation: number,
): number {
  const blur = median(members.map((i) => pulses.blur[i]!));
  const single = readingS / Math.sqrt(12) / (1 + (4 * blur) / Math.max(readingS, 1e-9)) ** 2;
  // Half of that scatter is enough to show that the train does not keep step.
  return deviation > single / 2 ? 0 : Math.SQRT2 * Math.sqrt(single ** 2 - deviation ** 2);
}

/**
 * Standard uncertainty of a fitted period. White timing errors give the regression's own standard error
 * (12 s^2 / (N (N^2 - 1)) for a full train). Where every period restarts from the last pulse the error walks,
 * and the variance is 6/5 of the step variance over N: estimated from how the residuals spread with distance.
 */
function periodUncertainty(
  slots: readonly number[],
  times: readonly number[],
  intercept: number,
  slope: number,
  whiteError: number,
): number {
  const n = slots.length;
  const residual = times.map((t, i) => t - intercept - slope * slots[i]!);
  const near = meanSquareStep(residual, 1);
  const lag = Math.max(2, n >> 3);
  const far = meanSquareStep(residual, lag);
  const span = (slots[n - 1]! / Math.max(1, n - 1)) * lag;
  const walk = Math.max(0, far - near) / span;
  return Math.hypot(whiteError, Math.sqrt((1.2 * walk) / Math.max(1, slots[n - 1]!)), 1e-9 * slope);
}

function meanSquareStep(residual: readonly number[], lag: number): number {
  let sum = 0;
  let n = 0;
  for (let i = lag; i < residual.length; i++) {
    sum += (residual[i]! - residual[i - lag]!) ** 2;
    n++;
  }
  return n === 0 ? 0 : sum / n;
}

/** Joins stretches, on either side of a gap or of a missed lock, that keep the same period and beat. */
export function joinAcrossGaps(found: readonly Stretch[], timing: Timing): Stretch[] {
  const out: Stretch[] = [];
  for (const next of [...found].sort((a, b) => a.firstS - b.firstS)) {
    const k = out.findLastIndex(
      (s) => s.lastS < next.firstS + next.periodS / 2 && sameTrain(s, next, timing),
    );
    if (k < 0) out.push(next);
    else out[k] = joined(out[k]!, next);
  }
  // A stretch that has grown may now reach the next one.
  return out.length < found.length ? joinAcrossGaps(out, timing) : out;
}

function joined(a: Stretch, b: Stretch): Stretch {
  const wa = 1 / a.periodU ** 2;
  const wb = 1 / b.periodU ** 2;
  let periodS = (a.periodS * wa + b.periodS * wb) / (wa + wb);
  let periodU = 1 / Math.sqrt(wa + wb);
  const jump = Math.max(1, Math.round((b.firstS - a.lastS) / periodS));
  const offset = a.pulses - 1 + jump;
  const slots = offset + b.pulses - 1;
  // Where the count across the gap is beyond doubt, the whole span times the train.
  const doubt = jump * Math.hypot(a.periodU, b.periodU);
  if (doubt < 0.1 * periodS) {
    const span = (b.lastS - a.firstS) / slots;
    const spanU = Math.hypot(a.periodU * a.pulses, b.periodU * b.pulses) / slots;
    if (spanU < periodU) {
      periodS = span;
      periodU = spanU;
    }
  }
  return {
    firstS: a.firstS,
    lastS: b.lastS,
    periodS,
    periodU,
    pulses: slots + 1,
    members: Int32Array.from([...a.members, ...b.members]),
    slots: Float64Array.from([...a.slots, ...b.slots.map((s) => s + offset)]),
  };
}

function sameTrain(a: Stretch, b: Stretch, timing: Timing): boolean {
  const between = b.firstS - a.lastS;
  const silent = between - overlapOf(timing.gaps, a.lastS, b.firstS);
  const apart = Math.abs(a.periodS - b.periodS);
  if (silent > Math.max(30 * a.periodS, 0.02 * (b.lastS - a.firstS))) return false;
  if (apart > 4 * Math.hypot(a.periodU, b.periodU) + 2e-4 * a.periodS) return false;
  const beats = between / a.periodS;
  const off = Math.abs(beats - Math.round(beats)) * a.periodS;
  const doubt =
    Math.max(1, beats) * (Math.hypot(a.periodU, b.periodU) + 2e-4 * a.periodS) + timing.toleranceS;
  return between > silent || off <= 2 * doubt;
}
