/** Small, accurate statistics on arrays of numbers; checked against certified values in the tests. */

export type Numbers = ArrayLike<number>;

/** The values at some places, in their order. */
export function valuesAt(x: Numbers, places: Numbers): Float64Array<ArrayBuffer> {
  const out = new Float64Array(places.length);
  for (let k = 0; k < out.length; k++) out[k] = x[places[k]!]!;
  return out;
}

/** Of two series of equal length. */
export function sumOfProducts(a: Numbers, b: Numbers): number {
  let sum = 0;
  for (let k = 0; k < a.length; k++) sum += a[k]! * b[k]!;
  return sum;
}

/** Arithmetic mean, shifted by the first value so that a large common offset costs no digits; NaN when empty. */
export function mean(x: Numbers): number {
  const n = x.length;
  if (n === 0) return NaN;
  const origin = x[0]!;
  let sum = 0;
  let lost = 0; // Neumaier's compensation
  for (let i = 0; i < n; i++) {
    const d = x[i]! - origin;
    const next = sum + d;
    lost += Math.abs(sum) >= Math.abs(d) ? sum - next + d : d - next + sum;
    sum = next;
  }
  return origin + (sum + lost) / n;
}

/** Sample standard deviation (n - 1), two passes with the correction term for the mean's rounding. */
export function standardDeviation(x: Numbers): number {
  const n = x.length;
  if (n < 2) return NaN;
  const m = mean(x);
  let squares = 0;
  let rest = 0;
  for (let i = 0; i < n; i++) {
    const d = x[i]! - m;
    squares += d * d;
    rest += d;
  }
  return Math.sqrt((squares - (rest * rest) / n) / (n - 1));
}

export function lag1Autocorrelation(x: Numbers): number {
  return autocorrelation(x, 1);
}

/** Autocorrelation coefficient as NIST StRD defines it: a sum of n - lag products over n squares; NaN for a constant. */
export function autocorrelation(x: Numbers, lag: number): number {
  const m = mean(x);
  let products = 0;
  let squares = 0;
  for (let i = 0; i < x.length; i++) {
    const d = x[i]! - m;
    squares += d * d;
    if (i >= lag) products += d * (x[i - lag]! - m);
  }
  return products / squares;
}

/** Quantile by linear interpolation between order statistics of a sorted array; NaN when empty. */
export function sortedQuantile(sorted: Numbers, p: number): number {
  const n = sorted.length;
  if (n === 0) return NaN;
  const at = p * (n - 1);
  const low = Math.floor(at);
  const high = Math.min(n - 1, low + 1);
  return sorted[low]! + (at - low) * (sorted[high]! - sorted[low]!);
}

/** The same of values in any order; a long array is not sorted for it. */
export function quantile(x: Numbers, p: number): number {
  const own = x instanceof Float64Array ? x.slice() : Float64Array.from(x);
  const n = own.length;
  if (n < SELECT_FROM) return sortedQuantile(own.sort(), p);
  const at = p * (n - 1);
  const low = Math.floor(at);
  const below = selectInPlace(own, 0, n, low);
  if (low + 1 >= n) return below;
  let above = Infinity;
  for (let i = low + 1; i < n; i++) if (own[i]! < above) above = own[i]!;
  return below + (at - low) * (above - below);
}

/** Values from which on selecting is faster than sorting. */
const SELECT_FROM = 512;

export function median(x: Numbers): number {
  return quantile(x, 0.5);
}

/** Standard deviation of a normal core from the median absolute deviation (factor 1.4826). */
export function robustDeviation(x: Numbers): number {
  const m = median(x);
  return 1.4826 * median(Float64Array.from(x, (v) => Math.abs(v - m)));
}

/** The k-th smallest of scratch[from..to), which is reordered (quickselect, median of three). */
export function selectInPlace(scratch: Float64Array, from: number, to: number, k: number): number {
  let lo = from;
  let hi = to - 1;
  const target = from + k;
  while (hi > lo) {
    const a = scratch[lo]!;
    const b = scratch[(lo + hi) >> 1]!;
    const c = scratch[hi]!;
    const pivot = Math.max(Math.min(a, b), Math.min(Math.max(a, b), c));
    let i = lo;
    let j = hi;
    while (i <= j) {
      while (scratch[i]! < pivot) i++;
      while (scratch[j]! > pivot) j--;
      if (i <= j) {
        const swap = scratch[i]!;
        scratch[i++] = scratch[j]!;
        scratch[j--] = swap;
      }
    }
    if (target <= j) hi = j;
    else if (target >= i) lo = i;
    else break;
  }
  return scratch[target]!;
}

export interface LineFit {
  readonly intercept: number;
  readonly slope: number;
  readonly interceptError: number;
  readonly slopeError: number;
  /** Residual standard deviation with n - 2 degrees of freedom. */
  readonly residualDeviation: number;
  readonly rSquared: number;
  readonly n: number;
}

/** Ordinary least squares of y on x with standard errors; null with fewer than 3 points or no spread in x. */
export function fitLine(x: Numbers, y: Numbers): LineFit | null {
  const n = x.length;
  if (n < 3) return null;
  const mx = mean(x);
  const my = mean(y);
  let sxx = 0;
  let sxy = 0;
  let syy = 0;
  for (let i = 0; i < n; i++) {
    const dx = x[i]! - mx;
    const dy = y[i]! - my;
    sxx += dx * dx;
    sxy += dx * dy;
    syy += dy * dy;
  }
  if (!(sxx > 0)) return null;
  const slope = sxy / sxx;
  const intercept = my - slope * mx;
  let squares = 0;
  for (let i = 0; i < n; i++) {
    const r = y[i]! - my - slope * (x[i]! - mx);
    squares += r * r;
  }
  const residualDeviation = Math.sqrt(squares / (n - 2));
  return {
    intercept,
    slope,
    interceptError: residualDeviation * Math.sqrt(1 / n + (mx * mx) / sxx),
    slopeError: residualDeviation / Math.sqrt(sxx),
    residualDeviation,
    rSquared: syy > 0 ? 1 - squares / syy : 1,
    n,
  };
}
