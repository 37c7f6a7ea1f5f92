/** Logistic regression of a yes-or-no on one voltage: log-odds = intercept + slope x voltage. */

export interface Try {
  readonly voltageV: number;
  readonly worked: boolean;
}

export interface LogisticFit {
  readonly intercept: number;
  readonly slope: number;
  readonly logLikelihood: number;
}

/** log(p) of a success or failure at log-odds `eta`, without overflow. */
function logChance(eta: number, worked: boolean): number {
  const x = worked ? eta : -eta;
  return x > 0 ? -Math.log1p(Math.exp(-x)) : x - Math.log1p(Math.exp(x));
}

export function logLikelihood(tries: readonly Try[], intercept: number, slope: number): number {
  return tries.reduce((sum, t) => sum + logChance(intercept + slope * t.voltageV, t.worked), 0);
}

/** Log-likelihood where the voltage does not matter. */
export function flatLogLikelihood(tries: readonly Try[]): number {
  const n = tries.length;
  const k = tries.filter((t) => t.worked).length;
  const part = (m: number): number => (m === 0 ? 0 : m * Math.log(m / n));
  return part(k) + part(n - k);
}

const MOST_STEPS = 100;

/**
 * Maximum likelihood by Newton's method with halved steps, on voltages counted from their mean.
 * Null where the likelihood has no maximum: one outcome only, one voltage only, or outcomes that a voltage separates.
 */
export function fitLogistic(tries: readonly Try[]): LogisticFit | null {
  const v = tries.map((t) => t.voltageV);
  const worked = v.filter((_, i) => tries[i]!.worked);
  const failed = v.filter((_, i) => !tries[i]!.worked);
  if (worked.length === 0 || failed.length === 0) return null;
  const overlap = (low: number[], high: number[]): boolean => Math.max(...low) > Math.min(...high);
  if (!overlap(failed, worked) || !overlap(worked, failed)) return null;
  const middle = v.reduce((s, x) => s + x, 0) / v.length;
  const scale = Math.max(...v) - Math.min(...v);
  const shifted = tries.map((t) => ({ ...t, voltageV: (t.voltageV - middle) / scale }));
  let [a, b] = [Math.log(worked.length / failed.length), 0];
  let best = logLikelihood(shifted, a, b);
  for (let step = 0; step < MOST_STEPS; step++) {
    const [da, db] = newtonStep(shifted, a, b);
    let size = 1;
    let next = logLikelihood(shifted, a + da, b + db);
    while (next < best && size > 1e-10) {
      size /= 2;
      next = logLikelihood(shifted, a + size * da, b + size * db);
    }
    a += size * da;
    b += size * db;
    const settled = Math.hypot(da, db) < 1e-12 * (1 + Math.hypot(a, b)) || next <= best;
    best = Math.max(best, next);
    if (settled) break;
  }
  const slope = b / scale;
  return { intercept: a - slope * middle, slope, logLikelihood: best };
}

function newtonStep(tries: readonly Try[], a: number, b: number): [number, number] {
  let [ga, gb, haa, hab, hbb] = [0, 0, 0, 0, 0];
  for (const { voltageV: x, worked } of tries) {
    const p = 1 / (1 + Math.exp(-(a + b * x)));
    const rest = (worked ? 1 : 0) - p;
    const w = p * (1 - p);
    ga += rest;
    gb += rest * x;
    haa += w;
    hab += w * x;
    hbb += w * x * x;
  }
  const det = haa * hbb - hab * hab;
  return [(hbb * ga - hab * gb) / det, (haa * gb - hab * ga) / det];
}

/** Beyond so many units of log-odds across the span a steeper slope changes no likelihood that matters. */
const STEEPEST = 5000;

/** The log-likelihood at its best among all curves whose half-way point is `thresholdV`. */
export function profileLogLikelihood(tries: readonly Try[], thresholdV: number): number {
  const span = Math.max(...tries.map((t) => Math.abs(t.voltageV - thresholdV)));
  if (!(span > 0)) return -tries.length * Math.LN2;
  const gradient = (b: number): number =>
    tries.reduce((sum, t) => {
      const x = t.voltageV - thresholdV;
      return sum + x * ((t.worked ? 1 : 0) - 1 / (1 + Math.exp(-b * x)));
    }, 0);
  // The likelihood is concave in the slope, so its gradient changes sign once.
  let [low, high] = [-STEEPEST / span, STEEPEST / span];
  // Tries very near the threshold need a slope of their own order.
  while (gradient(high) > 0 && high < 1e12) high *= 10;
  while (gradient(low) < 0 && low > -1e12) low *= 10;
  for (let i = 0; i < 200 && high - low > 1e-13 * Math.abs(high + low); i++) {
    const middle = (low + high) / 2;
    if (gradient(middle) > 0) low = middle;
    else high = middle;
  }
  const slope = (low + high) / 2;
  return logLikelihood(tries, -slope * thresholdV, slope);
}

/**
 * Twice the log-likelihood that a threshold may lose and still not be contradicted. The large-sample figure for
 * 95 % is 4, but of 6 to 40 tries it covers no more than 78 to 97 %; with 6 it is 92 to 100 % over slopes of 3 to 20 a
 * volt (simulated).
 */
export const LIKELIHOOD_LOST = 6;

/**
 * The thresholds that the tries do not contradict. Null where no end of it is in sight, that is where the slope cannot
 * be told from none: then Fieller's interval is unbounded too.
 */
export function profileInterval(
  tries: readonly Try[],
  bestV: readonly [number, number],
  bestLogLikelihood: number,
): [number, number] | null {
  const lost = (v: number): number => 2 * (bestLogLikelihood - profileLogLikelihood(tries, v));
  if (2 * (bestLogLikelihood - flatLogLikelihood(tries)) <= LIKELIHOOD_LOST) return null;
  const v = tries.map((t) => t.voltageV);
  const span = Math.max(...v) - Math.min(...v);
  const limit = (from: number, sign: 1 | -1): number | null => {
    let inside = from;
    let step = span / 64;
    while (lost(from + sign * step) <= LIKELIHOOD_LOST) {
      inside = from + sign * step;
      step *= 2;
      if (step > 1e6 * span) return null;
    }
    let outside = from + sign * step;
    for (let i = 0; i < 60; i++) {
      const middle = (inside + outside) / 2;
      if (lost(middle) <= LIKELIHOOD_LOST) inside = middle;
      else outside = middle;
    }
    return (inside + outside) / 2;
  };
  const [low, high] = [limit(bestV[0], -1), limit(bestV[1], 1)];
  return low === null || high === null ? null : [low, high];
}
