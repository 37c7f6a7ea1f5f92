import { lowerBound, type Conditioned } from '../analysis/condition.ts';
import { LoadCurve } from '../analysis/load-curve.ts';
import { mean, median, robustDeviation, sumOfProducts } from '../analysis/statistics.ts';
import { Trend } from '../analysis/trend.ts';
import { Stairs } from './stairs.ts';

/**
 * The voltage around load steps that lie together, and the load that flowed over each of its readings; the battery's
 * own drift is off both.
 */
export interface StepWindow {
  /** Seconds, of each reading that counts; or of so many together. */
  readonly t: readonly number[];
  readonly together: number;
  /** Volts, amperes. */
  readonly v: Float64Array;
  readonly load: Float64Array;
  /** Sums over the readings, of the load as stairs by volts, by the load, and by itself. */
  readonly stairsVolts: number;
  readonly stairsLoad: number;
  readonly stairsSquares: number;
  /** Readings less what the drift takes. */
  readonly freedom: number;
  /** Steps in it, their height, amperes, and the mean voltage. */
  readonly steps: number;
  readonly stepA: number;
  readonly levelV: number;
}

/** Readings so far on either side of steps, seconds, or so many of them where they are slow. */
const SIDE_S = 180;
const SIDE_READINGS = 8;
/**
 * Surface charge that decays in minutes bends by more than a parabola over that time, and a step can pass for the
 * difference; beside a cubic it can not. Each further length of a window has one bend more.
 */
const BENDS = 3;
/** Readings that stray from the fit by more than so many deviations of the others are left out, in so many passes. */
const STRAY_DEVIATIONS = 5;
const PASSES = 2;
/** A smaller step says nothing beside the polling. */
const LEAST_STEP_A = 0.01;

/**
 * `stepTimes` in seconds and on the current's stamps, as those of the voltage are but for `apartS`: readings so close
 * to a change of the load may belong to either side, and stand aside.
 */
export function stepWindows(
  current: Conditioned,
  voltage: Conditioned,
  stepTimes: readonly number[],
  apartS: number,
  currentNoise: number,
): StepWindow[] {
  const sideS = Math.max(SIDE_S, SIDE_READINGS * (voltage.intervalS ?? 1));
  const guardS = apartS + (current.intervalS ?? 1) / 2;
  return spansOf(stepTimes, sideS).flatMap((span) => {
    const readings = readingsIn(current, voltage, span, sideS, currentNoise);
    const stairs = new Stairs(current, span.fromS - 2 * guardS, span.toS + 2 * guardS, currentNoise);
    const window = windowOf(readings, span, stairs, guardS, sideS);
    return window === null ? [] : [window];
  });
}

interface StepSpan {
  readonly fromS: number;
  readonly toS: number;
  readonly steps: readonly number[];
}

/** Steps nearer than a side share a window; windows that would overlap meet half way, so that no reading counts twice. */
function spansOf(stepTimes: readonly number[], sideS: number): StepSpan[] {
  const together: number[][] = [];
  for (const at of [...stepTimes].sort((a, b) => a - b)) {
    const last = together[together.length - 1];
    if (last !== undefined && at - last[last.length - 1]! < sideS && at - last[0]! < 2 * sideS) last.push(at);
    else together.push([at]);
  }
  return together.map((steps, k) => {
    const [first, last] = [steps[0]!, steps[steps.length - 1]!];
    const before = together[k - 1]?.at(-1) ?? -Infinity;
    const after = together[k + 1]?.[0] ?? Infinity;
    return {
      fromS: Math.max(first - sideS, (before + first) / 2),
      toS: Math.min(last + sideS, (last + after) / 2),
      steps,
    };
  });
}

/** In whole windows of one step. */
function lengthsOf({ fromS, toS }: Pick<StepSpan, 'fromS' | 'toS'>, sideS: number): number {
  return Math.max(1, Math.round((toS - fromS) / (2 * sideS)));
}

interface Readings {
  readonly begin: number[];
  readonly end: number[];
  readonly v: number[];
  readonly load: number[];
  /** So many readings are taken as one. */
  readonly together: number;
}

/** In twice a side: more than these are not needed singly. */
const MOST_READINGS = 800;

/** Voltage readings over whose whole time the current was read, with the mean load of that time. */
function readingsIn(
  current: Conditioned,
  voltage: Conditioned,
  span: StepSpan,
  sideS: number,
  noise: number,
): Readings {
  const apertureS = voltage.apertureS ?? voltage.intervalS ?? 1;
  const pauseS = Math.max(4 * (current.intervalS ?? 1), 0.5);
  const curve = new LoadCurve(current, span.fromS - apertureS - pauseS, span.toS + pauseS, noise);
  const [from, to] = [lowerBound(voltage.t, span.fromS), lowerBound(voltage.t, span.toS)];
  const together = Math.max(1, Math.ceil((to - from) / (lengthsOf(span, sideS) * MOST_READINGS)));
  const out: Readings = { begin: [], end: [], v: [], load: [], together };
  const longestS = 2 * (apertureS + (together - 1) * (voltage.intervalS ?? 0));
  for (let k = from; k + together <= to; k += together) {
    const begin = voltage.t[k]! - apertureS;
    const end = voltage.t[k + together - 1]!;
    if (begin < curve.startS || end > curve.endS || end - begin > longestS) continue;
    if (pauses(current.t, begin, end, pauseS)) continue;
    const flowed = curve.chargeAt(begin);
    out.begin.push(begin);
    out.end.push(end);
    out.v.push(mean(voltage.y.subarray(k, k + together)));
    out.load.push((curve.chargeAt(end) - flowed) / (end - begin));
  }
  return out;
}

function pauses(t: Float64Array, fromS: number, toS: number, longestS: number): boolean {
  const to = Math.min(t.length - 1, lowerBound(t, toS));
  for (let i = Math.max(1, lowerBound(t, fromS)); i <= to; i++) if (t[i]! - t[i - 1]! > longestS) return true;
  return false;
}

function windowOf(
  r: Readings,
  { steps }: StepSpan,
  stairs: Stairs,
  guardS: number,
  sideS: number,
): StepWindow | null {
  const all = r.end.map((end, k) => {
    const stair = stairs.levelOver(r.begin[k]! - guardS, end + guardS);
    return stair === null ? null : { t: end, v: r.v[k]!, load: r.load[k]!, stair };
  });
  let points = all.filter((p) => p !== null);
  for (let pass = 1; ; pass++) {
    const window = fit(points, steps, sideS, r.together);
    if (window === null || pass > PASSES) return window;
    const kept = withoutStrays(points, window);
    if (kept.length === points.length) return window;
    points = kept;
  }
}

interface Point {
  readonly t: number;
  readonly v: number;
  readonly load: number;
  readonly stair: number;
}

function fit(
  points: readonly Point[],
  steps: readonly number[],
  sideS: number,
  together: number,
): StepWindow | null {
  const t = points.map((p) => p.t);
  const levels = points.map((p) => p.stair);
  const [fromS, toS] = [t[0] ?? 0, t[t.length - 1] ?? 0];
  const stepA = rangeOf(levels);
  if (!(stepA >= LEAST_STEP_A)) return null;
  const lengths = lengthsOf({ fromS, toS }, sideS);
  const trend = new Trend(t, BENDS + lengths - 1);
  const v = trend.takeFrom(points.map((p) => p.v));
  const load = trend.takeFrom(points.map((p) => p.load));
  const stairs = trend.takeFrom(levels);
  const freedom = t.length - trend.terms;
  const stairsLoad = sumOfProducts(stairs, load);
  if (freedom < 2 || !(stairsLoad > 0)) return null;
  return {
    t,
    together,
    v,
    load,
    stairsVolts: sumOfProducts(stairs, v),
    stairsLoad,
    stairsSquares: sumOfProducts(stairs, stairs),
    freedom,
    steps: steps.filter((at) => at > fromS && at < toS).length,
    stepA,
    levelV: mean(points.map((p) => p.v)),
  };
}

function rangeOf(x: readonly number[]): number {
  let [least, most] = [Infinity, -Infinity];
  for (const value of x) {
    least = Math.min(least, value);
    most = Math.max(most, value);
  }
  return most - least;
}

/** Without readings that one meter took in a rush of current and the other just beside it. */
function withoutStrays(points: readonly Point[], w: StepWindow): Point[] {
  const ohm = -w.stairsVolts / w.stairsLoad;
  const left = w.v.map((v, k) => v + ohm * w.load[k]!);
  const most = STRAY_DEVIATIONS * robustDeviation(left);
  const middle = median(left);
  return points.filter((_, k) => Math.abs(left[k]! - middle) <= Math.max(most, 1e-9));
}
