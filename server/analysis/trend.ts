import { sumOfProducts } from './statistics.ts';

/** Polynomials over given times, each of length 1 and at right angles to all lower ones: they take a drift off readings. */
export class Trend {
  private readonly basis: readonly Float64Array[];

  /** `degree` 1 is a straight line. Times that are too few, or all the same, give as many terms as they can carry. */
  constructor(t: readonly number[], degree: number) {
    const [first, last] = [t[0] ?? 0, t[t.length - 1] ?? 0];
    const half = Math.max((last - first) / 2, Number.MIN_VALUE);
    const u = Float64Array.from(t, (x) => (x - first) / half - 1);
    const basis: Float64Array[] = [];
    let next = u.map(() => 1);
    for (let d = 0; d <= degree && d < t.length; d++) {
      // Twice is enough: the second pass takes off what rounding left of the first.
      const free = without(without(next, basis), basis);
      const [before, length] = [norm(next), norm(free)];
      if (!(length > 1e-9 * before)) break;
      const unit = free.map((x) => x / length);
      basis.push(unit);
      // Not a power of u but u times the last one: powers of high degree are nearly all alike.
      next = unit.map((x, k) => x * u[k]!);
    }
    this.basis = basis;
  }

  /** Freedoms that the trend takes. */
  get terms(): number {
    return this.basis.length;
  }

  /** What is left of values at those times. A large common offset costs no digits. */
  takeFrom(y: readonly number[]): Float64Array {
    const origin = y[0] ?? 0;
    return without(
      Float64Array.from(y, (x) => x - origin),
      this.basis,
    );
  }
}

function without(y: Float64Array, basis: readonly Float64Array[]): Float64Array<ArrayBuffer> {
  const out = Float64Array.from(y);
  for (const unit of basis) {
    const along = sumOfProducts(out, unit);
    for (let k = 0; k < out.length; k++) out[k]! -= along * unit[k]!;
  }
  return out;
}

function norm(y: Float64Array): number {
  return Math.sqrt(sumOfProducts(y, y));
}
