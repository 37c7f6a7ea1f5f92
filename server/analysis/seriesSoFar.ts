import { isLive, valueOf } from '../../drivers/core/reading.ts';
import type { SampleColumns, Series } from '../samples/columns.ts';
import { lowerBound } from './condition.ts';

const ROOM = 4096;
/** Small, because there is room for a day of readings and more. */
const GROWTH = 1.25;

/** Live readings of one channel that come bit by bit and are taken away from the front: seconds and values. */
export class SeriesSoFar {
  private t = new Float64Array(ROOM);
  private y = new Float64Array(ROOM);
  private n = 0;
  /** Whether no reading came late, behind one that was taken after it. */
  private isInOrder = true;

  /** What is not live (overload, hold, AC, no value, ...) is left out. */
  add({ length, t, counts, scale, flags }: SampleColumns): void {
    this.makeRoom(this.n + length);
    let last = this.n === 0 ? -Infinity : this.t[this.n - 1]!;
    for (let i = 0; i < length; i++) {
      if (!isLive(flags[i]!)) continue;
      const at = t[i]! / 1000;
      if (at < last) this.isInOrder = false;
      last = at;
      this.t[this.n] = at;
      this.y[this.n] = valueOf(counts[i]!, scale[i]!);
      this.n++;
    }
  }

  /** All there is, as views. What comes later is not in them, and changes nothing of them. */
  peek(): Series {
    return { t: this.t.subarray(0, this.n), y: this.y.subarray(0, this.n) };
  }

  countBefore(atS: number): number {
    return this.between(-Infinity, atS).t.length;
  }

  /** The readings of [fromS, toS), in the order in which they came. */
  between(fromS: number, toS: number): Series {
    const { t, y } = this.peek();
    if (this.isInOrder) {
      const [from, to] = [lowerBound(t, fromS), lowerBound(t, toS)];
      return { t: t.subarray(from, to), y: y.subarray(from, to) };
    }
    const isInside = (_: number, i: number): boolean => t[i]! >= fromS && t[i]! < toS;
    return { t: t.filter(isInside), y: y.filter(isInside) };
  }

  /** The readings before a time, which are let go. Those that came late are among them. */
  takeUntil(atS: number): Series {
    const taken = this.between(-Infinity, atS);
    const rest = this.between(atS, Infinity);
    // What is taken keeps the arrays.
    this.t = new Float64Array(this.t.length);
    this.y = new Float64Array(this.y.length);
    this.t.set(rest.t);
    this.y.set(rest.y);
    this.n = rest.t.length;
    return taken;
  }

  private makeRoom(size: number): void {
    if (size <= this.t.length) return;
    const wider = (a: Float64Array): Float64Array<ArrayBuffer> => {
      const b = new Float64Array(Math.max(size, Math.ceil(GROWTH * a.length)));
      b.set(a.subarray(0, this.n));
      return b;
    };
    this.t = wider(this.t);
    this.y = wider(this.y);
  }
}
