import { isLive, valueOf } from '../../drivers/core/reading.ts';
import type { SampleColumns, Series } from '../samples/columns.ts';
import { lowerBound } from './condition.ts';

const ROOM = 4096;
/** What is not written to takes no memory. */
const GROWTH = 2;

/** Live readings of one channel that come bit by bit and are taken away from the front: seconds and values. */
export class SeriesSoFar {
  private t: Float64Array<ArrayBuffer>;
  private y: Float64Array<ArrayBuffer>;
  private n = 0;
  /** Whether no reading came late, behind one that was taken after it. */
  private isInOrder = true;

  /** @param expected readings that will be there at one time, about; 0 where nobody knows */
  constructor(expected = 0) {
    const room = Math.max(ROOM, Math.ceil(expected));
    this.t = new Float64Array(room);
    this.y = new Float64Array(room);
  }

  /**
   * What is not live (overload, hold, AC, no value, ...) is left out.
   * @returns the latest time of all samples, milliseconds; -Infinity where there are none
   */
  add({ length, t, counts, scale, flags }: SampleColumns): number {
    this.makeRoom(this.n + length);
    const { t: seconds, y } = this;
    let n = this.n;
    let last = n === 0 ? -Infinity : seconds[n - 1]!;
    let isInOrder = this.isInOrder;
    let latestMs = -Infinity;
    for (let i = 0; i < length; i++) {
      const ms = t[i]!;
      if (ms > latestMs) latestMs = ms;
      if (!isLive(flags[i]!)) continue;
      const at = ms / 1000;
      if (at < last) isInOrder = false;
      last = at;
      seconds[n] = at;
      y[n] = valueOf(counts[i]!, scale[i]!);
      n++;
    }
    this.n = n;
    this.isInOrder = isInOrder;
    return latestMs;
  }

  /** All there is, as views until the next `dropBefore`. What comes later is not in them, and changes nothing of them. */
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

  /** Lets go of the readings before a time, those that came late among them. Views of them are worth nothing then. */
  dropBefore(atS: number): void {
    const rest = this.between(atS, Infinity);
    this.t.set(rest.t);
    this.y.set(rest.y);
    this.n = rest.t.length;
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
