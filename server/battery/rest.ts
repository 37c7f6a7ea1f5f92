import { combine } from '../analysis/accuracy.ts';
import { lowerBound, overlapOf, type Conditioned, type Span } from '../analysis/condition.ts';
import { meterUncertainty, type MeterErrors } from '../analysis/dc.ts';
import { mean, median, quantile, robustDeviation } from '../analysis/statistics.ts';

/** Rest voltage: where the voltage of the sleeping car is going, under a surface charge that decays. */

export interface Rest {
  readonly restV: number;
  readonly restU: number;
  /** Surface charge that is still on the battery at the end, volts; 0 where none was found. */
  readonly surfaceLeftV: number;
}

const MOST_POINTS = 300;
const LEAST_POINTS = 8;
const LEAST_SPAN_S = 60;

/** The voltage of the sleeping car in equal stretches of quiet time. */
export interface QuietVoltage {
  /** Middle of each stretch, seconds. */
  readonly t: readonly number[];
  /** Means where the current is known, else medians, which dips and readings in passing do not move. */
  readonly v: readonly number[];
  /** The mean current meanwhile, amperes; null where none was measured. */
  readonly amps: readonly number[] | null;
  /** Readings behind all of them. */
  readonly readings: number;
}

/** Equal stretches from `fromS` on, without those that much of `disturbed` lies in; `meanA` is null without a clamp. */
export function quietPoints(
  c: Conditioned,
  fromS: number,
  disturbed: readonly Span[],
  meanA: ((fromS: number, toS: number) => number | null) | null,
): QuietVoltage {
  const end = c.t[c.t.length - 1] ?? 0;
  const start = Math.max(fromS, c.t[0] ?? 0);
  const length = Math.max((end - start) / MOST_POINTS, 3 * (c.intervalS ?? 1));
  const t: number[] = [];
  const v: number[] = [];
  const amps: number[] = [];
  let readings = 0;
  let i = lowerBound(c.t, start);
  for (let a = start; a < end; a += length) {
    const from = i;
    i = lowerBound(c.t, a + length, i);
    if (i - from < 3 || overlapOf(disturbed, a, a + length) > 0.2 * length) continue;
    const load = meanA === null ? 0 : meanA(a, a + length);
    if (load === null) continue;
    const inside = c.y.subarray(from, i);
    t.push(a + length / 2);
    v.push(meanA === null ? quantile(inside, 0.5) : mean(inside));
    amps.push(load);
    readings += i - from;
  }
  return { t, v, amps: meanA === null ? null : amps, readings };
}

/**
 * Fits V + B exp(-t / tau) to the quiet voltage, with the drop that the load made over `ohm` put back; tau by
 * search, V and B by least squares. V's uncertainty is its own and its range over every tau that fits nearly as
 * well. Null when there is too little quiet voltage.
 */
export function restVoltage(quiet: QuietVoltage, meter: MeterErrors, ohm: number): Rest | null {
  const n = quiet.t.length;
  const span = (quiet.t[n - 1] ?? 0) - (quiet.t[0] ?? 0);
  if (n < LEAST_POINTS || span < LEAST_SPAN_S) return null;
  const points: Points = {
    t: quiet.t.map((t) => t - quiet.t[0]!),
    v: quiet.v.map((v, i) => v + (quiet.amps?.[i] ?? 0) * ohm),
  };
  const each = Math.max(1, quiet.readings / n);
  const noise = Math.max(pointNoise(points.v), 1e-6, meter.noise / Math.sqrt(each));
  const flat = fitDecay(points, Infinity);
  const tries: Decay[] = [];
  for (let tau = span / 30; tau <= 2 * span; tau *= 1.12) tries.push(fitDecay(points, tau));
  const best = tries.reduce((a, b) => (b.squares < a.squares ? b : a));
  const better = (flat.squares - best.squares) / (noise * noise);
  const decays = better > 25 && best.surface > 4 * noise;
  const steady = meterUncertainty(flat.rest, meter);
  if (!decays) {
    const half = Math.floor(n / 2);
    const creep = Math.abs(median(points.v.slice(half)) - median(points.v.slice(0, half)));
    return { restV: flat.rest, restU: combine(steady, noise / Math.sqrt(n), creep / 2), surfaceLeftV: 0 };
  }
  const exact = polish(points, best);
  const scale = Math.max(noise * noise, exact.squares / Math.max(1, n - 3));
  return {
    restV: exact.rest,
    restU: combine(steady, exact.restError * Math.sqrt(scale)),
    surfaceLeftV: exact.surface * Math.exp(-span / exact.tau),
  };
}

interface Points {
  readonly t: readonly number[];
  readonly v: readonly number[];
}

/** Noise of the points from their second differences, which a decay hardly touches. */
function pointNoise(v: readonly number[]): number {
  const second: number[] = [];
  for (let i = 1; i + 1 < v.length; i++) second.push(v[i - 1]! - 2 * v[i]! + v[i + 1]!);
  return robustDeviation(second) / Math.sqrt(6);
}

interface Decay {
  readonly tau: number;
  readonly rest: number;
  readonly surface: number;
  /** Standard error of `rest` for unit noise. */
  readonly restError: number;
  readonly squares: number;
}

function fitDecay(p: Points, tau: number): Decay {
  const n = p.t.length;
  const flat = !Number.isFinite(tau);
  const e = p.t.map((t) => (flat ? 0 : Math.exp(-t / tau)));
  let se = 0;
  let see = 0;
  let sv = 0;
  let sev = 0;
  const origin = p.v[0]!;
  for (let i = 0; i < n; i++) {
    const v = p.v[i]! - origin;
    se += e[i]!;
    see += e[i]! * e[i]!;
    sv += v;
    sev += e[i]! * v;
  }
  const determinant = n * see - se * se;
  const surface = flat || determinant <= 1e-12 ? 0 : (n * sev - se * sv) / determinant;
  const rest = (sv - surface * se) / n;
  let squares = 0;
  for (let i = 0; i < n; i++) squares += (p.v[i]! - origin - rest - surface * e[i]!) ** 2;
  const restError = flat || determinant <= 1e-12 ? 1 / Math.sqrt(n) : Math.sqrt(see / determinant);
  return { tau, rest: rest + origin, surface, restError, squares };
}

/** Gauss-Newton on all three parameters from the best of the search; the error of V then includes tau's. */
function polish(p: Points, from: Decay): Decay {
  let best = from;
  let restError = from.restError;
  for (let round = 0; round < 6; round++) {
    const { rest, surface, tau } = best;
    const normal = [0, 0, 0, 0, 0, 0]; // upper triangle of J'J for V, B, ln tau
    const right = [0, 0, 0];
    for (let i = 0; i < p.t.length; i++) {
      const e = Math.exp(-p.t[i]! / tau);
      const j = [1, e, (surface * e * p.t[i]!) / tau];
      const r = p.v[i]! - rest - surface * e;
      let k = 0;
      for (let a = 0; a < 3; a++) {
        right[a]! += j[a]! * r;
        for (let b = a; b < 3; b++) normal[k++]! += j[a]! * j[b]!;
      }
    }
    const inverse = invertSymmetric(normal);
    if (inverse === null) break;
    restError = Math.sqrt(inverse[0]!);
    const step = inverse[2]! * right[0]! + inverse[4]! * right[1]! + inverse[5]! * right[2]!;
    const next = fitDecay(p, tau * Math.exp(Math.min(0.3, Math.max(-0.3, step))));
    if (next.squares >= best.squares) break;
    best = next;
  }
  return { ...best, restError };
}

/** Inverse of a symmetric 3 x 3 matrix given as its upper triangle, row by row; null when it has none. */
function invertSymmetric(m: readonly number[]): number[] | null {
  const [a, b, c, d, e, f] = m as [number, number, number, number, number, number];
  const determinant = a * (d * f - e * e) - b * (b * f - c * e) + c * (b * e - c * d);
  if (!(Math.abs(determinant) > 1e-12 * Math.abs(a * d * f))) return null;
  return [d * f - e * e, c * e - b * f, b * e - c * d, a * f - c * c, b * c - a * e, a * d - b * b].map(
    (x) => x / determinant,
  );
}
