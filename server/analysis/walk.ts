/** What times of beats say of a clock that walks, for one ratio of walk to timing. */
export interface ClockWalk {
  readonly ratio: number;
  /** Up to a constant; the timing's own size and the slope are integrated out. */
  readonly logLikelihood: number;
  /** By how much the clock was later at the last beat than at the first, and the variance of that. */
  readonly gained: number;
  readonly variance: number;
  /** Where the clock stood at the first beat. */
  readonly first: number;
}

/**
 * The clock's level walks by `ratio` (variance a slot, in units of the timing's variance) about a straight line of
 * unknown slope. One pass of a Kalman filter with the level at the first beat kept in its state (fixed-point smoother:
 * Anderson and Moore, Optimal Filtering, 7.2), run on the times and on the slots side by side, so that the slope is
 * a regression of the innovations (de Jong, The diffuse Kalman filter, Annals of Statistics 19, 1991; both from memory).
 * `slots` rise from 0; the timing's variance is at least `leastTiming`.
 */
export function clockWalk(
  slots: Float64Array,
  times: Float64Array,
  ratio: number,
  leastTiming = 0,
): ClockWalk {
  const n = slots.length;
  // Variances of the level now, of the first level, and their covariance, in units of the timing's variance.
  let p = 1;
  let p0 = 1;
  let c = 1;
  let y = times[0]!;
  let y0 = y;
  let x = 0;
  let x0 = 0;
  let yy = 0;
  let xy = 0;
  let xx = 0;
  let logs = 0;
  let product = 1;
  for (let i = 1; i < n; i++) {
    p += ratio * (slots[i]! - slots[i - 1]!);
    const weight = 1 / (p + 1);
    const gain = p * weight;
    const gain0 = c * weight;
    const v = times[i]! - y;
    const u = slots[i]! - x;
    y += gain * v;
    x += gain * u;
    y0 += gain0 * v;
    x0 += gain0 * u;
    yy += weight * v * v;
    xy += weight * u * v;
    xx += weight * u * u;
    p0 -= c * gain0;
    p = gain;
    c = gain0;
    product *= weight;
    if (product < 1e-200) {
      logs -= Math.log(product);
      product = 1;
    }
  }
  logs -= Math.log(product);
  const slope = xy / xx;
  const free = n - 2;
  const squares = Math.max(yy - slope * xy, 1e-12 * n);
  const timing = Math.max(squares / free, leastTiming);
  const span = slots[n - 1]!;
  const lever = span - (x - x0);
  return {
    ratio,
    logLikelihood: -0.5 * (free * Math.log(timing) + squares / timing + logs + Math.log(xx)),
    gained: y - y0 + slope * lever,
    // Student's t with n - 2 degrees of freedom is wider than a normal distribution by this.
    variance: timing * (free > 2 ? free / (free - 2) : 3) * (p + p0 - 2 * c + lever ** 2 / xx),
    first: y0 - slope * x0,
  };
}
