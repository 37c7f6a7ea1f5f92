import { aroundExcursions, type Excursions } from './excursions.ts';

/** Mean and standard deviation of readings, and how many there are. */
export interface Sums {
  readonly count: number;
  readonly mean: number;
  readonly deviation: number;
}

/** Sums of readings and of their squares about an origin near them. */
class Summing {
  private count = 0;
  private sum = 0;
  private squares = 0;

  constructor(private readonly origin: number) {}

  add(y: Float64Array, from: number, to: number): void {
    let { sum, squares } = this;
    for (let i = from; i < to; i++) {
      const d = y[i]! - this.origin;
      sum += d;
      squares += d * d;
    }
    this.count += Math.max(0, to - from);
    this.sum = sum;
    this.squares = squares;
  }

  with(other: Summing): Sums {
    const count = this.count + other.count;
    const n = Math.max(1, count);
    const mean = (this.sum + other.sum) / n;
    const variance = (this.squares + other.squares) / n - mean * mean;
    return { count, mean: this.origin + mean, deviation: Math.sqrt(Math.max(0, variance)) };
  }
}

/** Of readings [from, to). */
export function sums(y: Float64Array, from: number, to: number): Sums {
  const origin = y[from] ?? 0;
  const sum = new Summing(origin);
  sum.add(y, from, to);
  return sum.with(new Summing(origin));
}

/** All readings, and the quiet ones: those outside every excursion and its neighbours. */
export function sumsAround(
  y: Float64Array,
  from: number,
  to: number,
  x: Excursions,
): { readonly all: Sums; readonly quiet: Sums } {
  const origin = y[from] ?? 0;
  const quiet = new Summing(origin);
  const raised = new Summing(origin);
  aroundExcursions(x, from, to, {
    quiet: (a, b) => quiet.add(y, a, b),
    raised: (a, b) => raised.add(y, a, b),
  });
  return { all: quiet.with(raised), quiet: quiet.with(new Summing(origin)) };
}
