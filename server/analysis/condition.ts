import type { Quantity } from '../../drivers/core/reading.ts';
import { evenTimes } from './even-times.ts';
import type { ChannelInput } from './input.ts';
import { withoutStalls } from './stalls.ts';
import { withoutZero } from './zero.ts';
import { estimateInterval, estimateJitter, estimateResolution, waitsForTurns } from './sampling.ts';

/** Stage 1: readings in order on one time axis, with what can be said about how they were taken. */

export interface Span {
  readonly startS: number;
  readonly endS: number;
}

export interface ClockStep {
  readonly atS: number;
  readonly stepS: number;
}

export interface Conditioned {
  readonly quantity: Quantity;
  readonly unit: string;
  /** Seconds, strictly rising. */
  readonly t: Float64Array;
  readonly y: Float64Array;
  readonly intervalS: number | null;
  /** How late a reading may arrive against the others. */
  readonly jitterS: number;
  /** Relative standard uncertainty of the clock behind the times; 0 where single delays are all that moves them. */
  readonly clockU: number;
  /** Integration time; where nobody stated it, the interval (back-to-back conversions) is assumed. */
  readonly apertureS: number | null;
  readonly apertureStated: boolean;
  readonly resolution: number | null;
  readonly gaps: readonly Span[];
  /** Steps of the clock that the times themselves betray; they are taken out of `t`. */
  readonly clockSteps: readonly ClockStep[];
}

/** Intervals, and seconds. */
const GAP_INTERVALS = 8;
const GAP_LEAST_S = 1;

/** Readings farther apart have a gap between them. */
export function longestPause(intervalS: number): number {
  return Math.max(GAP_INTERVALS * intervalS, GAP_LEAST_S);
}

export function condition(input: ChannelInput): Conditioned {
  return conditionAll([input])[0]!;
}

/** Channels whose readings arrived together, of one meter, share one array of times: they have one clock. */
export function conditionAll(inputs: readonly ChannelInput[]): Conditioned[] {
  const clocks: Clock[] = [];
  return inputs.map((input) => {
    const { t: arrived, y, clockSteps } = inOrder(input.t, input.y);
    let clock = clocks.find((c) => areSame(c.arrived, arrived));
    if (clock === undefined) clocks.push((clock = clockOf(arrived)));
    const { t, intervalS, jitterS, clockU, pauses } = clock;
    const apertureStated = input.apertureS !== null;
    return {
      quantity: input.quantity,
      unit: input.unit,
      t,
      y: withoutZero(t, y, input.zeroChecks ?? []),
      intervalS,
      jitterS,
      clockU,
      apertureS: apertureStated ? input.apertureS : intervalS,
      apertureStated,
      resolution: input.resolution ?? estimateResolution(y),
      gaps: mergeSpans([...input.gaps, ...pauses]),
      clockSteps,
    };
  });
}

interface Clock extends Pick<Conditioned, 't' | 'intervalS' | 'jitterS' | 'clockU'> {
  readonly arrived: Float64Array;
  readonly pauses: readonly Span[];
}

function clockOf(arrived: Float64Array): Clock {
  const intervalS = estimateInterval(arrived);
  const { t, clockU } = takenAt(arrived, intervalS);
  return { arrived, t, intervalS, jitterS: estimateJitter(t), clockU, pauses: pausesOf(t, intervalS) };
}

function areSame(a: Float64Array, b: Float64Array): boolean {
  if (a.length !== b.length) return false;
  for (let i = 0; i < a.length; i++) if (a[i] !== b[i]) return false;
  return true;
}

/** Readings that arrive this unevenly (in intervals) are set on the even clock on which they were taken. */
const UNEVEN = 0.35;
const MOST_EVENED = 4_000_000;

/** Readings whose delays tell the clock as well as one independent delay does: those next to each other are alike. */
const ALIKE = 4;

function takenAt(
  arrived: Float64Array,
  intervalS: number | null,
): { readonly t: Float64Array; readonly clockU: number } {
  if (intervalS === null) return { t: arrived, clockU: 0 };
  const jitterS = estimateJitter(arrived);
  const t = withoutStalls(arrived, intervalS, jitterS);
  const span = t[t.length - 1]! - t[0]!;
  // Turns of the radio slide against the meter's clock, so that the usual delay is not the same at either end.
  const slidU = waitsForTurns(t, intervalS) ? jitterS / 2 / span : 0;
  if (jitterS < UNEVEN * intervalS || t.length > MOST_EVENED) return { t, clockU: slidU };
  // The slope of a line through evenly spread times: var = 12 s^2 / (N T^2).
  const clockU = (Math.sqrt(12) * jitterS) / (span * Math.sqrt(t.length / ALIKE));
  return { t: evenTimes(t, intervalS), clockU: Math.hypot(clockU, slidU) };
}

function inOrder(
  t: Float64Array,
  y: Float64Array,
): { t: Float64Array; y: Float64Array; clockSteps: ClockStep[] } {
  const n = Math.min(t.length, y.length);
  let tidy = t.length === y.length;
  for (let i = 0; tidy && i < n; i++)
    // The difference from itself is 0 for what is finite, and for nothing else.
    tidy = t[i]! - t[i]! === 0 && y[i]! - y[i]! === 0 && (i === 0 || t[i]! > t[i - 1]!);
  if (tidy) return { t, y, clockSteps: [] };

  const finite: number[] = [];
  for (let i = 0; i < n; i++) if (Number.isFinite(t[i]) && Number.isFinite(y[i])) finite.push(i);
  const times = Float64Array.from(finite, (i) => t[i]!);
  const values = Float64Array.from(finite, (i) => y[i]!);
  const clockSteps = undoBackwardSteps(times);
  const order = Uint32Array.from(times, (_, i) => i).sort((a, b) => times[a]! - times[b]! || a - b);
  const keep = order.filter((i, k) => k === 0 || times[i]! > times[order[k - 1]!]!);
  return {
    t: Float64Array.from(keep, (i) => times[i]!),
    y: Float64Array.from(keep, (i) => values[i]!),
    clockSteps,
  };
}

/** Readings this far behind for at least this long mean that the clock was set back, not that two swapped. */
const STEP_READINGS = 4;

/** Shifts what follows a backward step so that it continues at the usual interval; changes `times` in place. */
function undoBackwardSteps(times: Float64Array): ClockStep[] {
  const steps: ClockStep[] = [];
  const interval = estimateInterval(Float64Array.from(times).sort()) ?? 0;
  let shift = 0;
  for (let i = 1; i < times.length; i++) {
    times[i] = times[i]! + shift;
    const behind = times[i - 1]! - times[i]!;
    if (behind <= 0) continue;
    const until = Math.min(times.length, i + STEP_READINGS);
    let stays = until - i === STEP_READINGS || i > times.length - STEP_READINGS;
    for (let k = i + 1; k < until && stays; k++)
      stays = times[k]! + shift - times[i - 1]! < (k - i + 1) * interval - behind / 2;
    if (!stays) continue;
    const stepS = -(behind + interval);
    steps.push({ atS: times[i - 1]!, stepS });
    shift -= stepS;
    times[i] = times[i]! - stepS;
  }
  return steps;
}

function pausesOf(t: Float64Array, intervalS: number | null): Span[] {
  const found: Span[] = [];
  const least = longestPause(intervalS ?? Infinity);
  for (let i = 1; i < t.length; i++)
    if (t[i]! - t[i - 1]! > least) found.push({ startS: t[i - 1]!, endS: t[i]! });
  return found;
}

/** Union of spans, in order. */
export function mergeSpans(spans: readonly Span[]): Span[] {
  const sorted = [...spans].filter((s) => s.endS > s.startS).sort((a, b) => a.startS - b.startS);
  const out: { startS: number; endS: number }[] = [];
  for (const s of sorted) {
    const last = out[out.length - 1];
    if (last !== undefined && s.startS <= last.endS) last.endS = Math.max(last.endS, s.endS);
    else out.push({ startS: s.startS, endS: s.endS });
  }
  return out;
}

/** Seconds of [fromS, toS] that the spans cover; the spans must be in order and apart. */
export function overlapOf(spans: readonly Span[], fromS: number, toS: number): number {
  let sum = 0;
  for (const s of spans) sum += Math.max(0, Math.min(toS, s.endS) - Math.max(fromS, s.startS));
  return sum;
}

/** Index of the first time not before `at`, from `from` on (binary search). */
export function lowerBound(t: ArrayLike<number>, at: number, from = 0): number {
  let lo = from;
  let hi = t.length;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (t[mid]! < at) lo = mid + 1;
    else hi = mid;
  }
  return lo;
}
