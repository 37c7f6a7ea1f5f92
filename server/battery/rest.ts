import { combine } from '../analysis/accuracy.ts';
import { overlapOf, type Conditioned, type Span } from '../analysis/condition.ts';
import { meterUncertainty, type MeterErrors } from '../analysis/dc.ts';
import { mean, median, robustDeviation } from '../analysis/statistics.ts';

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

/**
 * Fits V + B exp(-t / tau) to the voltage from `fromS` on, without the spans in `disturbed`; tau by search,
 * V and B by least squares. V's uncertainty is its own and its range over every tau that fits nearly as well.
 * Null when there is too little quiet voltage.
 */
export function restVoltage(
  c: Conditioned,
  fromS: number,
  disturbed: readonly Span[],
  meter: MeterErrors,
  load: Load | null = null,
): Rest | null {
  const points = quietPoints(c, fromS, disturbed, load);
  const n = points.t.length;
  if (n < LEAST_POINTS || points.t[n - 1]! - points.t[0]! < LEAST_SPAN_S) return null;
  const noise = Math.max(pointNoise(points.v), 1e-6, meter.noise / Math.sqrt(points.readings));
  const flat = fitDecay(points, Infinity);
  const span = points.t[n - 1]! - points.t[0]!;
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
  readonly t: number[];
  readonly v: number[];
  /** Readings behind each point. */
  readonly readings: number;
}

/** The current that flows meanwhile, and the source resistance that it makes a drop over. */
export interface Load {
  /** Mean over a span, amperes; null where it was not measured. */
  meanA(fromS: number, toS: number): number | null;
  readonly ohm: number;
}

/**
 * Equal stretches of quiet time. With a load each point is the mean voltage plus the drop that the mean current
 * made; without one it is a median, which dips and readings in passing do not move.
 */
function quietPoints(c: Conditioned, fromS: number, disturbed: readonly Span[], load: Load | null): Points {
  const end = c.t[c.t.length - 1] ?? 0;
  const start = Math.max(fromS, c.t[0] ?? 0);
  const length = Math.max((end - start) / MOST_POINTS, 3 * (c.intervalS ?? 1));
  const out: Points & { readings: number } = { t: [], v: [], readings: 1 };
  let i = 0;
  let used = 0;
  for (let a = start; a < end; a += length) {
    const inside: number[] = [];
    while (i < c.t.length && c.t[i]! < a) i++;
    for (; i < c.t.length && c.t[i]! < a + length; i++) inside.push(c.y[i]!);
    if (inside.length < 3 || overlapOf(disturbed, a, a + length) > 0.2 * length) continue;
    const amps = load === null ? 0 : load.meanA(a, a + length);
    if (amps === null) continue;
    out.t.push(a + length / 2 - start);
    out.v.push(load === null ? median(inside) : mean(inside) + amps * load.ohm);
    used += inside.length;
  }
  out.readings = Math.max(1, used / Math.max(1, out.t.length));
  return out;
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
