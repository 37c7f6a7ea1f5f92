import type { BucketSet } from './buckets.ts';
import type { Base } from './pyramid.ts';

/** So many entries of one level lie under one of the next. */
const FAN_BITS = 3;
const FAN = 1 << FAN_BITS;
const LEVELS = 9;

/**
 * The whole pyramid over the channels that share a column of times: the entries of all blocks in turn, and above
 * them ever coarser levels. Grows entry by entry and answers for any window.
 */
export class Levels {
  length = 0;
  private from: Float64Array = new Float64Array(64);
  private to: Float64Array = new Float64Array(64);
  private readonly channels: Channel[];
  /** Whether times never went back, so that a window is a stretch of entries. */
  private inOrder = true;

  constructor(channels: number) {
    this.channels = Array.from({ length: channels }, () => new Channel());
  }

  get bytes(): number {
    return this.channels.reduce((n, c) => n + c.bytes, this.from.byteLength * 2);
  }

  add(base: Base): void {
    for (let k = 0; k < base.from.length; k++) {
      const at = this.length++;
      if (at === this.from.length) {
        this.from = grown(this.from);
        this.to = grown(this.to);
      }
      this.place(at, base.from[k]!, base.to[k]!);
      for (let c = 0; c < this.channels.length; c++) {
        const { min, max, live } = base.channels[c]!;
        this.channels[c]!.push(at, min[k]!, max[k]!, live[k]!);
      }
    }
  }

  /**
   * A span may be longer than its samples need, so a wider one is as good: where the rounding of two blocks brings
   * the ends out of order, the spans are widened until they are in order again.
   */
  private place(at: number, from: number, to: number): void {
    const { from: begins, to: ends } = this;
    const slack = to - from;
    for (let k = at; k > 0 && begins[k - 1]! > from && begins[k - 1]! - from <= slack; k--)
      begins[k - 1] = from;
    begins[at] = from;
    ends[at] = to;
    if (at === 0) return;
    const late = ends[at - 1]! - to;
    if (late > 0 && late <= slack) ends[at] = ends[at - 1]!;
    this.inOrder &&= ends[at] >= ends[at - 1]! && from >= begins[at - 1]!;
  }

  /** Takes entries together until all fit in so many bytes: what is finer is then found in the samples. */
  shrinkTo(bytes: number): void {
    while (this.bytes > bytes && this.length > FAN) {
      const n = Math.ceil(this.length / FAN);
      const [from, to] = [new Float64Array(n), new Float64Array(n)];
      for (let k = 0; k < n; k++) {
        const [a, b] = [k * FAN, Math.min((k + 1) * FAN, this.length)];
        from[k] = this.from.subarray(a, b).reduce((x, y) => Math.min(x, y));
        to[k] = this.to.subarray(a, b).reduce((x, y) => Math.max(x, y));
      }
      for (const channel of this.channels) channel.dropLowest(this.length);
      [this.from, this.to, this.length] = [from, to, n];
    }
  }

  /**
   * The stretches of the window in which a channel has live samples; null where these are surely more than `enough`.
   */
  spansIfFew(channel: number, fromMs: number, toMs: number, enough: number): Span[] | null {
    const { live } = this.channels[channel]!;
    const [a, b] = this.touching(fromMs, toMs);
    const spans: Span[] = [];
    let inside = 0;
    for (let k = a; k < b; k++) {
      const [from, to] = [this.from[k]!, this.to[k]!];
      if (live[k] === 0 || to < fromMs || from > toMs) continue;
      if (from >= fromMs && to <= toMs) inside += live[k]!;
      if (inside > enough) return null;
      addSpan(spans, from, to);
    }
    return spans;
  }

  /**
   * Takes what lies in the window into `sets` (all of the same window), one for each of `channels`. An entry across
   * an edge counts on both sides of it (an end of the window too) where it is no longer than a part; longer ones are left to `spans`: the
   * stretches of time, in turn, whose samples are to be looked at themselves.
   */
  collect(channels: readonly number[], sets: readonly BucketSet[], spans: Span[]): void {
    const set = sets[0];
    if (set === undefined) return;
    const own = channels.map((c) => this.channels[c]!);
    const [a, b] = this.touching(set.fromMs, set.toMs);
    const { from, to } = this;
    const inside = bound(to, b, (x) => x <= set.toMs);
    let usual = 1;
    for (let k = a; k < b;) {
      const [first, last] = [from[k]!, to[k]!];
      if (last < set.fromMs || first > set.toMs) {
        k++;
        continue;
      }
      const place = set.placeOf(first);
      if (first >= set.fromMs && last <= set.toMs && set.placeOf(last) === place) {
        const end = this.inOrder ? this.endOf(place, set, k, inside, usual) : k + 1;
        for (let c = 0; c < own.length; c++) own[c]!.range(k, end, place, sets[c]!);
        usual = end - k;
        k = end;
        continue;
      }
      if (last - first <= set.width)
        for (let p = set.placeOf(last); p >= place; p--)
          for (let c = 0; c < own.length; c++) own[c]!.one(k, p, sets[c]!);
      else addSpan(spans, first, last);
      k++;
    }
  }

  /** The first entry behind `k` that ends after the part; `usual` is a guess of how many there are. */
  private endOf(place: number, set: BucketSet, k: number, limit: number, usual: number): number {
    let low = k + 1;
    let high = Math.min(limit, k + 2 * usual + 2);
    while (high < limit && set.placeOf(this.to[high - 1]!) <= place) {
      low = high;
      high = Math.min(limit, high + 2 * (high - k));
    }
    while (low < high) {
      const middle = (low + high) >>> 1;
      if (set.placeOf(this.to[middle]!) <= place) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  private touching(fromMs: number, toMs: number): [number, number] {
    if (!this.inOrder) return [0, this.length];
    return [bound(this.to, this.length, (x) => x < fromMs), bound(this.from, this.length, (x) => x <= toMs)];
  }
}

/** A stretch of time, both ends included, milliseconds. */
export type Span = [fromMs: number, toMs: number];

function addSpan(spans: Span[], from: number, to: number): void {
  const before = spans.at(-1);
  if (before === undefined || before[0] > from || before[1] < from) spans.push([from, to]);
  else if (before[1] < to) before[1] = to;
}

/** Of one channel: the live samples under each entry of the lowest level, lowest and highest on all levels. */
class Channel {
  live = new Uint32Array(64);
  private readonly min: Float64Array[] = [];
  private readonly max: Float64Array[] = [];

  constructor() {
    for (let l = 0; l < LEVELS; l++) {
      this.min.push(new Float64Array(64 >> Math.min(l, 6)).fill(Infinity));
      this.max.push(new Float64Array(64 >> Math.min(l, 6)).fill(-Infinity));
    }
  }

  get bytes(): number {
    return this.min.reduce((n, level) => n + 2 * level.byteLength, this.live.byteLength);
  }

  /** NaN where nothing is live. */
  push(at: number, min: number, max: number, live: number): void {
    if (at === this.live.length) {
      const live = new Uint32Array(at + (at >> 2) + 16);
      live.set(this.live);
      this.live = live;
    }
    this.live[at] = live;
    for (let l = 0, k = at; l < LEVELS; l++, k >>>= FAN_BITS) {
      while (k >= this.min[l]!.length) {
        this.min[l] = grown(this.min[l]!, Infinity);
        this.max[l] = grown(this.max[l]!, -Infinity);
      }
      const lower = min < this.min[l]![k]!;
      const higher = max > this.max[l]![k]!;
      if (!lower && !higher) return;
      if (lower) this.min[l]![k] = min;
      if (higher) this.max[l]![k] = max;
    }
  }

  dropLowest(length: number): void {
    const n = Math.ceil(length / FAN);
    const live = new Uint32Array(n);
    for (let k = 0; k < length; k++) live[Math.floor(k / FAN)]! += this.live[k]!;
    this.live = live;
    for (const [levels, none] of [
      [this.min, Infinity],
      [this.max, -Infinity],
    ] as const) {
      levels.shift();
      levels.push(new Float64Array(1).fill(none));
      levels[0] = levels[0]!.slice(0, n);
      // The new top is what the level below it amounts to.
      const below = levels[LEVELS - 2]!;
      levels[LEVELS - 1]![0] = below.reduce((x, y) => (none > 0 ? Math.min(x, y) : Math.max(x, y)), none);
    }
  }

  one(k: number, place: number, set: BucketSet): void {
    set.add(place, this.min[0]![k]!, this.max[0]![k]!);
  }

  /** What the entries from `a` to before `b` amount to, from the coarsest ones that lie in between. */
  range(a: number, b: number, place: number, set: BucketSet): void {
    let low = Infinity;
    let high = -Infinity;
    for (let l = 0; a < b; l++) {
      const [min, max] = [this.min[l]!, this.max[l]!];
      const top = l === LEVELS - 1;
      while (a < b && (top || (a & (FAN - 1)) !== 0)) {
        if (min[a]! < low) low = min[a]!;
        if (max[a]! > high) high = max[a]!;
        a++;
      }
      while (a < b && (b & (FAN - 1)) !== 0) {
        b--;
        if (min[b]! < low) low = min[b]!;
        if (max[b]! > high) high = max[b]!;
      }
      a >>>= FAN_BITS;
      b >>>= FAN_BITS;
    }
    set.add(place, low, high);
  }
}

/** Larger by a quarter: a whole month must not take twice its room. */
function grown(column: Float64Array, fill = 0): Float64Array {
  const out = new Float64Array(column.length + (column.length >> 2) + 16).fill(fill, column.length);
  out.set(column);
  return out;
}

/** How many numbers at the beginning of `sorted` are `before`. */
function bound(sorted: Float64Array, length: number, before: (x: number) => boolean): number {
  let [low, high] = [0, length];
  while (low < high) {
    const middle = (low + high) >>> 1;
    if (before(sorted[middle]!)) low = middle + 1;
    else high = middle;
  }
  return low;
}
