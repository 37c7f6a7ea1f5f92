import { isLive, valueOf } from '../../drivers/core/reading.ts';
import type { SampleColumns } from './columns.ts';

/** Extremes of live samples for drawing: equal lengths, times ascending. */
export interface Buckets {
  /** True where each entry is one sample, false where it stands for a stretch of time. */
  readonly raw: boolean;
  /** Seconds from the recording's start: the sample's time, or the middle of the bucket. */
  readonly t: Float64Array;
  readonly min: Float64Array;
  readonly max: Float64Array;
}

/**
 * Lowest and highest live value in each of `buckets` equal parts of [fromMs, toMs], both ends included; parts
 * without a live sample are left out. Where no more than `buckets` live samples are there, each stands alone.
 * @throws RangeError unless `buckets` is a positive integer and fromMs <= toMs
 */
export function bucketsOf(c: SampleColumns, fromMs: number, toMs: number, buckets: number): Buckets {
  if (!Number.isInteger(buckets) || buckets < 1 || !(fromMs <= toMs)) throw new RangeError('no such buckets');
  let live = 0;
  for (let i = 0; i < c.length; i++) if (isShown(c, i, fromMs, toMs)) live++;
  return live <= buckets ? singles(c, fromMs, toMs, live) : extremes(c, fromMs, toMs, buckets);
}

function isShown(c: SampleColumns, i: number, fromMs: number, toMs: number): boolean {
  const t = c.t[i]!;
  return t >= fromMs && t <= toMs && isLive(c.flags[i]!);
}

function singles(c: SampleColumns, fromMs: number, toMs: number, live: number): Buckets {
  const picked = new Uint32Array(live);
  let n = 0;
  for (let i = 0; i < c.length; i++) if (isShown(c, i, fromMs, toMs)) picked[n++] = i;
  picked.sort((a, b) => c.t[a]! - c.t[b]! || a - b);
  const y = Float64Array.from(picked, (i) => valueOf(c.counts[i]!, c.scale[i]!));
  return { raw: true, t: Float64Array.from(picked, (i) => c.t[i]! / 1000), min: y, max: y };
}

function extremes(c: SampleColumns, fromMs: number, toMs: number, buckets: number): Buckets {
  const set = new BucketSet(fromMs, toMs, buckets);
  set.addSamples(c);
  return set.result();
}

/** Lowest and highest value of one channel in each of `buckets` equal parts of a window. */
export class BucketSet {
  readonly width: number;
  private readonly low: Float64Array;
  private readonly high: Float64Array;

  constructor(
    readonly fromMs: number,
    readonly toMs: number,
    readonly buckets: number,
  ) {
    this.low = new Float64Array(buckets).fill(Infinity);
    this.high = new Float64Array(buckets).fill(-Infinity);
    this.width = (toMs - fromMs) / buckets;
  }

  /** The part in which a moment lies; what is outside the window, the part next to it. */
  placeOf(ms: number): number {
    if (ms <= this.fromMs) return 0;
    if (ms >= this.toMs) return this.buckets - 1;
    return Math.min(this.buckets - 1, Math.floor((ms - this.fromMs) / this.width));
  }

  add(place: number, min: number, max: number): void {
    if (min < this.low[place]!) this.low[place] = min;
    if (max > this.high[place]!) this.high[place] = max;
  }

  /** The live samples of the window, each in its own part. */
  addSamples({ length, t, counts, scale, flags }: SampleColumns): void {
    const { fromMs, toMs } = this;
    let place = -1;
    let digits = 0;
    let low = 0;
    let high = 0;
    // Within one part and one scale counts are in the order of their values.
    const close = () => {
      if (place >= 0) this.add(place, valueOf(low, digits), valueOf(high, digits));
    };
    for (let i = 0; i < length; i++) {
      const ms = t[i]!;
      if (!(ms >= fromMs && ms <= toMs) || !isLive(flags[i]!)) continue;
      const own = this.placeOf(ms);
      const x = counts[i]!;
      if (own !== place || scale[i] !== digits) {
        close();
        place = own;
        digits = scale[i]!;
        low = high = x;
      } else if (x < low) low = x;
      else if (x > high) high = x;
    }
    close();
  }

  result(): Buckets {
    const { low, high, buckets, fromMs, width } = this;
    const t = new Float64Array(buckets);
    let n = 0;
    for (let b = 0; b < buckets; b++) {
      if (low[b]! > high[b]!) continue;
      t[n] = (fromMs + (b + 0.5) * width) / 1000;
      low[n] = low[b]!;
      high[n] = high[b]!;
      n++;
    }
    return { raw: false, t: t.slice(0, n), min: low.slice(0, n), max: high.slice(0, n) };
  }
}
