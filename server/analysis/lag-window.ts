import { lowerBound, type Conditioned } from './condition.ts';
import { LoadCurve } from './load-curve.ts';
import { mean, sumOfProducts } from './statistics.ts';

/** One of the two channels with the noise of one of its readings. */
export interface Side {
  readonly channel: Conditioned;
  readonly noise: number;
}

/** The voltage around a change of the load, held against what the current makes of it at any lag. */
export interface LagWindow {
  /** Squares that the voltage leaves about a straight line alone. */
  readonly flat: number;
  /** Squares that are left, and the ohms that leave them (0 where the voltage does not fall with the current). */
  at(lagS: number): { readonly squares: number; readonly ohm: number };
  /** Points of voltage, and the variance that noise and last digit give each of them. */
  readonly points: number;
  readonly variance: number;
  /** How far the load changed, amperes. */
  readonly step: number;
  /** The longest time over which a point of voltage is a mean. */
  readonly apertureS: number;
}

const MOST_POINTS = 250;
const LEAST_POINTS = 7;
const LEAST_EACH_SIDE = 3;

/**
 * Fits voltage = a + b t - R i to the readings from `fromS` to `toS` for lags within `search`, with i the mean of
 * the load over what each reading covers. Null where either channel has too little there.
 */
export function lagWindow(
  current: Side,
  voltage: Side,
  span: { readonly fromS: number; readonly changeS: number; readonly toS: number },
  search: { readonly leastS: number; readonly mostS: number },
): LagWindow | null {
  const apertureS = voltage.channel.apertureS ?? voltage.channel.intervalS ?? 1;
  const known = stretchAround(current.channel, span.changeS);
  const curve = new LoadCurve(
    current.channel,
    Math.max(known.fromS, span.fromS - search.mostS - apertureS),
    Math.min(known.toS, span.toS - search.leastS),
    current.noise,
  );
  const fromS = Math.max(span.fromS, curve.startS + search.mostS + apertureS);
  const toS = Math.min(span.toS, curve.endS + search.leastS);
  const points = pointsOf(voltage.channel, fromS, toS, apertureS);
  const n = points.v.length;
  if (n < LEAST_POINTS) return null;
  const middle = span.changeS + (search.leastS + search.mostS) / 2;
  const before = points.end.filter((t) => t < middle).length;
  if (before < LEAST_EACH_SIDE || n - before < LEAST_EACH_SIDE) return null;

  const line = new Line(points.end);
  const v = line.takeFrom(points.v);
  const flat = sumOfProducts(v, v);
  const digit = voltage.channel.resolution ?? 0;
  return {
    flat,
    points: n,
    variance: Math.max(voltage.noise ** 2 / points.together, digit ** 2 / 12, 1e-12),
    step: rangeOf(current.channel, span.fromS - search.mostS, span.toS - search.leastS),
    apertureS: points.longestS,
    at(lagS) {
      // The line is off the voltage already; of the load's squares it is taken off as they are summed.
      let [sum, along, squares, vx, origin] = [0, 0, 0, 0, 0];
      for (let k = 0; k < n; k++) {
        const begin = points.begin[k]! - lagS;
        const end = points.end[k]! - lagS;
        const q = curve.chargeAt(begin);
        const load = (curve.chargeAt(end) - q) / (end - begin);
        if (k === 0) origin = load;
        const x = load - origin;
        sum += x;
        along += x * line.unit[k]!;
        squares += x * x;
        vx += v[k]! * x;
      }
      const xx = squares - (sum * sum) / n - along * along;
      if (!(vx < 0) || !(xx > 0)) return { squares: flat, ohm: 0 };
      return { squares: Math.max(0, flat - (vx * vx) / xx), ohm: -vx / xx };
    },
  };
}

/** Readings of the current without a pause before and after a change: where the load is known. */
function stretchAround(c: Conditioned, atS: number): { fromS: number; toS: number } {
  const longest = Math.max(4 * (c.intervalS ?? 1), 0.5);
  const { t } = c;
  const reach = 120;
  let first = Math.min(t.length - 1, lowerBound(t, atS));
  let last = first;
  while (first > 0 && t[first]! - t[first - 1]! < longest && t[first]! > atS - reach) first--;
  while (last + 1 < t.length && t[last + 1]! - t[last]! < longest && t[last]! < atS + reach) last++;
  return { fromS: t[first]!, toS: t[last]! };
}

interface Points {
  /** What each point is a mean over, on the voltage's own stamps. */
  readonly begin: number[];
  readonly end: number[];
  readonly v: number[];
  /** Readings in a point. */
  readonly together: number;
  readonly longestS: number;
}

/** The voltage from a time to another; so many readings that they are not needed singly are taken together. */
function pointsOf(c: Conditioned, fromS: number, toS: number, apertureS: number): Points {
  const [from, to] = [lowerBound(c.t, fromS), lowerBound(c.t, toS)];
  const together = Math.max(1, Math.ceil((to - from) / MOST_POINTS));
  const begin: number[] = [];
  const end: number[] = [];
  const v: number[] = [];
  let longestS = 0;
  for (let i = from; i + together <= to; i += together) {
    const [a, b] = [c.t[i]! - apertureS, c.t[i + together - 1]!];
    if (b - a > 2 * (apertureS + (together - 1) * (c.intervalS ?? 0))) continue;
    let sum = 0;
    for (let k = i; k < i + together; k++) sum += c.y[k]!;
    begin.push(a);
    end.push(b);
    v.push(sum / together);
    longestS = Math.max(longestS, b - a);
  }
  return { begin, end, v, together, longestS };
}

/** A straight line through points at fixed times; `unit` is its slope as a vector of length 1 about a mean of 0. */
class Line {
  readonly unit: Float64Array;

  constructor(t: readonly number[]) {
    const middle = t.reduce((sum, x) => sum + x, 0) / t.length;
    const centred = Float64Array.from(t, (x) => x - middle);
    const length = Math.sqrt(sumOfProducts(centred, centred));
    this.unit = centred.map((x) => x / length);
  }

  takeFrom(given: readonly number[]): Float64Array {
    const m = mean(given);
    const y = Float64Array.from(given, (x) => x - m);
    const along = sumOfProducts(y, this.unit);
    return y.map((x, k) => x - along * this.unit[k]!);
  }
}

function rangeOf(c: Conditioned, fromS: number, toS: number): number {
  let least = Infinity;
  let most = -Infinity;
  for (let i = lowerBound(c.t, fromS); i < c.t.length && c.t[i]! <= toS; i++) {
    least = Math.min(least, c.y[i]!);
    most = Math.max(most, c.y[i]!);
  }
  return Math.max(0, most - least);
}
