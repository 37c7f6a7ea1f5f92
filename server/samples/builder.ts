import type { SampleColumns } from './columns.ts';

/** Collects samples one by one in columns that grow by doubling. */
export class ColumnBuilder {
  length = 0;
  private t: Float64Array;
  private counts: Float64Array;
  private scale: Int8Array;
  private flags: Uint16Array;

  constructor(capacity = 1024) {
    this.t = new Float64Array(capacity);
    this.counts = new Float64Array(capacity);
    this.scale = new Int8Array(capacity);
    this.flags = new Uint16Array(capacity);
  }

  push(t: number, counts: number, scale: number, flags: number): void {
    const i = this.length++;
    if (i === this.t.length) this.grow(2 * i + 1);
    this.t[i] = t;
    this.counts[i] = counts;
    this.scale[i] = scale;
    this.flags[i] = flags;
  }

  append({ length, t, counts, scale, flags }: SampleColumns): void {
    const at = this.length;
    this.length += length;
    if (this.length > this.t.length) this.grow(2 * this.length);
    this.t.set(t, at);
    this.counts.set(counts, at);
    this.scale.set(scale, at);
    this.flags.set(flags, at);
  }

  /** What was collected, trimmed to its length. */
  columns(): SampleColumns {
    const n = this.length;
    return {
      length: n,
      t: this.t.slice(0, n),
      counts: this.counts.slice(0, n),
      scale: this.scale.slice(0, n),
      flags: this.flags.slice(0, n),
    };
  }

  /** The same without a copy; later pushes may leave it behind. */
  view(): SampleColumns {
    const n = this.length;
    return {
      length: n,
      t: this.t.subarray(0, n),
      counts: this.counts.subarray(0, n),
      scale: this.scale.subarray(0, n),
      flags: this.flags.subarray(0, n),
    };
  }

  private grow(capacity: number): void {
    const [t, counts, scale, flags] = [this.t, this.counts, this.scale, this.flags];
    this.t = new Float64Array(capacity);
    this.counts = new Float64Array(capacity);
    this.scale = new Int8Array(capacity);
    this.flags = new Uint16Array(capacity);
    this.t.set(t);
    this.counts.set(counts);
    this.scale.set(scale);
    this.flags.set(flags);
  }
}

/** Numbers collected one by one in an array that grows by doubling. */
export class NumberColumn {
  private length = 0;
  private all = new Float64Array(1024);

  /** Returns the place of the number, from 0. */
  push(x: number): number {
    if (this.length === this.all.length) {
      const larger = new Float64Array(this.length * 2);
      larger.set(this.all);
      this.all = larger;
    }
    this.all[this.length] = x;
    return this.length++;
  }

  /** What was collected; a view that later pushes may leave behind. */
  values(): Float64Array {
    return this.all.subarray(0, this.length);
  }
}
