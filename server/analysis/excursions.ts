import { lowerBound, type Conditioned } from './condition.ts';
import type { Floor } from './floor.ts';

/** Stage 5: every visible rise above the floor, in order, as columns (there may be millions). */
export interface Excursions {
  readonly count: number;
  /** Middle of the charge, on the readings' own time stamps. */
  readonly at: Float64Array;
  /** First and last sample above the threshold. */
  readonly first: Int32Array;
  readonly last: Int32Array;
  /** Charge above the floor, coulombs: readings times the interval each stands for. */
  readonly charge: Float64Array;
  readonly peak: Float64Array;
  readonly threshold: number;
}

/** A single reading this many deviations above the floor is not chance, even among millions. */
const DEVIATIONS = 6;

export function visibleThreshold(c: Conditioned, noise: number): number {
  return Math.max(DEVIATIONS * noise, 1.6 * (c.resolution ?? 0));
}

/** Excursions of samples [from, to) over a floor. */
export function findExcursions(
  c: Conditioned,
  ref: Floor,
  threshold: number,
  from: number,
  to: number,
): Excursions {
  const { t, y } = c;
  const interval = c.intervalS ?? 0;
  const edge = threshold / 2;
  const columns = new ExcursionColumns();
  const longest = 8 * interval;
  let i = from;
  let taken = from - 1;
  while (i < to) {
    const stop = Math.min(to, ref.until(i));
    const floor = ref.value;
    while (i < stop && y[i]! - floor <= threshold) i++;
    if (i >= stop) continue;
    const first = i;
    const pulse = new Weighing(interval);
    let peak = 0;
    let last = i;
    // A floor is nearly the same in the next window, so an excursion may run on across the border.
    for (; i < to; i++) {
      if (i >= stop) ref.until(i);
      const e = y[i]! - (i < stop ? floor : ref.value);
      if (e <= threshold || (i > first && t[i]! - t[i - 1]! > longest)) break;
      pulse.add(e, t[i]!, true);
      if (e > peak) peak = e;
      last = i;
    }
    // The readings on either side may hold the rest of a pulse that fell across the border.
    for (const [k, near] of [
      [first - 1, first],
      [last + 1, last],
    ] as const) {
      if (k <= taken || k >= to || Math.abs(t[k]! - t[near]!) > longest) continue;
      ref.until(k);
      const e = y[k]! - ref.value;
      if (e > threshold) continue;
      pulse.add(e, t[k]!, e > edge);
      taken = k;
    }
    columns.push(pulse.middle, first, last, pulse.charge, peak);
  }
  return { ...columns.done(), threshold };
}

/**
 * Tells the readings [from, to) in order, in stretches [a, b): `raised` those of every excursion and its two neighbours,
 * which hold part of it, and `quiet` all others.
 */
export function aroundExcursions(
  x: Excursions,
  from: number,
  to: number,
  tell: { quiet(a: number, b: number): void; raised?(a: number, b: number): void },
): void {
  let i = from;
  for (let k = lowerBound(x.last, from - 1); k < x.count && i < to; k++) {
    const edge = Math.min(to, x.first[k]! - 1);
    if (edge > i) tell.quiet(i, edge);
    i = Math.max(i, edge);
    const end = Math.min(to, x.last[k]! + 2);
    if (end > i) tell.raised?.(i, end);
    i = Math.max(i, end);
  }
  if (to > i) tell.quiet(i, to);
}

const LEAST_ROOM = 1024;

/** Sums a pulse's charge, and its middle from those readings that surely belong to it. */
class Weighing {
  charge = 0;
  private weight = 0;
  private moment = 0;

  constructor(private readonly interval: number) {}

  add(excess: number, at: number, counts: boolean): void {
    this.charge += excess * this.interval;
    if (!counts) return;
    this.weight += excess;
    this.moment += excess * at;
  }

  get middle(): number {
    return this.moment / this.weight;
  }
}

/** Excursions as they are found. */
export class ExcursionColumns {
  private n = 0;
  private at: Float64Array;
  private first: Int32Array;
  private last: Int32Array;
  private charge: Float64Array;
  private peak: Float64Array;

  constructor(room = 0) {
    const size = Math.max(room, LEAST_ROOM);
    this.at = new Float64Array(size);
    this.first = new Int32Array(size);
    this.last = new Int32Array(size);
    this.charge = new Float64Array(size);
    this.peak = new Float64Array(size);
  }

  push(at: number, first: number, last: number, charge: number, peak: number): void {
    if (this.n === this.at.length) this.grow();
    this.at[this.n] = at;
    this.first[this.n] = first;
    this.last[this.n] = last;
    this.charge[this.n] = charge;
    this.peak[this.n] = peak;
    this.n++;
  }

  private grow(): void {
    const size = 2 * this.n;
    const wider = <T extends Float64Array | Int32Array>(a: T, b: T): T => {
      b.set(a);
      return b;
    };
    this.at = wider(this.at, new Float64Array(size));
    this.first = wider(this.first, new Int32Array(size));
    this.last = wider(this.last, new Int32Array(size));
    this.charge = wider(this.charge, new Float64Array(size));
    this.peak = wider(this.peak, new Float64Array(size));
  }

  done(): Omit<Excursions, 'threshold'> {
    const n = this.n;
    return {
      count: n,
      at: this.at.subarray(0, n),
      first: this.first.subarray(0, n),
      last: this.last.subarray(0, n),
      charge: this.charge.subarray(0, n),
      peak: this.peak.subarray(0, n),
    };
  }
}
