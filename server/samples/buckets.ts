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
  const low = new Float64Array(buckets).fill(Infinity);
  const high = new Float64Array(buckets).fill(-Infinity);
  const width = (toMs - fromMs) / buckets;
  for (let i = 0; i < c.length; i++) {
    if (!isShown(c, i, fromMs, toMs)) continue;
    const b = width === 0 ? 0 : Math.min(buckets - 1, Math.floor((c.t[i]! - fromMs) / width));
    const y = valueOf(c.counts[i]!, c.scale[i]!);
    if (y < low[b]!) low[b] = y;
    if (y > high[b]!) high[b] = y;
  }
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
