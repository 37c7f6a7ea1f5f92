/** What a program that holds a whole channel in memory does: lowest and highest of 64, of 64 times 64, and so on. */
const FAN = 64;

export class RangeExtremes {
  private readonly lows: Float64Array[];
  private readonly highs: Float64Array[];
  private low = 0;
  private high = 0;

  constructor(
    private readonly t: Float64Array,
    y: Float64Array,
  ) {
    this.lows = [y];
    this.highs = [y];
    while (this.lows.at(-1)!.length > FAN) {
      this.lows.push(reduced(this.lows.at(-1)!, Math.min, Infinity));
      this.highs.push(reduced(this.highs.at(-1)!, Math.max, -Infinity));
    }
  }

  /** Lowest and highest by turns. */
  buckets(fromMs: number, toMs: number, buckets: number): Float64Array {
    const out = new Float64Array(2 * buckets);
    let first = this.place(fromMs);
    for (let b = 0; b < buckets; b++) {
      const next = this.place(fromMs + ((toMs - fromMs) * (b + 1)) / buckets);
      this.low = Infinity;
      this.high = -Infinity;
      this.look(first, next);
      out[2 * b] = this.low;
      out[2 * b + 1] = this.high;
      first = next;
    }
    return out;
  }

  /** The first sample at or after that time. */
  private place(ms: number): number {
    let [a, b] = [0, this.t.length];
    while (a < b) {
      const middle = (a + b) >>> 1;
      if (this.t[middle]! < ms) a = middle + 1;
      else b = middle;
    }
    return a;
  }

  private look(from: number, to: number): void {
    let [a, b] = [from, to];
    for (let level = 0; a < b; level++) {
      const [lows, highs] = [this.lows[level]!, this.highs[level]!];
      const isTop = level === this.lows.length - 1;
      while (a < b && (isTop || a % FAN !== 0)) this.take(lows, highs, a++);
      while (a < b && b % FAN !== 0) this.take(lows, highs, --b);
      a /= FAN;
      b /= FAN;
    }
  }

  private take(lows: Float64Array, highs: Float64Array, i: number): void {
    if (lows[i]! < this.low) this.low = lows[i]!;
    if (highs[i]! > this.high) this.high = highs[i]!;
  }
}

function reduced(y: Float64Array, of: (a: number, b: number) => number, none: number): Float64Array {
  const out = new Float64Array(Math.ceil(y.length / FAN)).fill(none);
  for (let i = 0; i < y.length; i++) out[(i / FAN) | 0] = of(out[(i / FAN) | 0]!, y[i]!);
  return out;
}
