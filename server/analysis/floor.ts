import { lowerBound, type Conditioned } from './condition.ts';
import type { Level } from './levels.ts';
import { sortedQuantile } from './statistics.ts';
import type { Windows } from './windows.ts';

/** The floor that excursions are measured against, read along rising sample numbers. */
export interface Floor {
  readonly value: number;
  /** Sets `value` for sample `i` and returns the first later sample for which it may differ. */
  until(i: number): number;
}

/** The floor of each window, switching at the sharp steps between levels. */
export class WindowFloor implements Floor {
  value = 0;
  private window = 0;
  private level = 0;

  constructor(
    private readonly w: Windows,
    private readonly levels: readonly Level[],
    private readonly reference: Float64Array,
    private readonly end: number,
  ) {}

  until(i: number): number {
    const { w, levels } = this;
    while (this.window > 0 && w.from[this.window]! > i) this.window--;
    while (this.window + 1 < w.count && w.from[this.window + 1]! <= i) this.window++;
    while (this.level > 0 && levels[this.level]!.from > i) this.level--;
    while (this.level + 1 < levels.length && levels[this.level + 1]!.from <= i) this.level++;
    const level = levels[this.level];
    let stop = Math.min(this.end, w.from[this.window + 1] ?? this.end);
    this.value = this.reference[windowOfFloor(w, this.window, level)]!;
    if (level !== undefined) stop = Math.min(stop, level.to);
    return Math.max(stop, i + 1);
  }
}

/**
 * The window whose floor holds for readings of a window on a level: a window that a step cuts in two has no floor of
 * its own on the far side, and the level's nearest whole window stands in for it.
 */
function windowOfFloor({ from }: Windows, window: number, level: Level | undefined): number {
  if (level === undefined || level.lastWindow < level.firstWindow) return window;
  if (level.from > from[window]!) return level.firstWindow;
  return level.to < from[window + 1]! ? level.lastWindow : window;
}

/** One level throughout. */
export class ConstantFloor implements Floor {
  constructor(readonly value: number) {}

  until(): number {
    return Infinity;
  }
}

/** The level that lies under the readings [from, to): the clipped mean about their lower cluster. */
export function lowerLevel(y: Float64Array, from: number, to: number, clip: number): number {
  const low = sortedQuantile(y.slice(from, to).sort(), 0.2);
  let sum = 0;
  let n = 0;
  for (let i = from; i < to; i++)
    if (Math.abs(y[i]! - low) <= clip) {
      sum += y[i]!;
      n++;
    }
  return n === 0 ? low : sum / n;
}

/** The floor at any time, and the lowest of a stretch, from the floors of the windows and the steps between levels. */
export class FloorOverTime {
  private readonly levelStarts: Float64Array;

  constructor(
    private readonly w: Windows,
    private readonly levels: readonly Level[],
    private readonly reference: Float64Array,
  ) {
    this.levelStarts = Float64Array.from(levels, (l) => l.startS);
  }

  at(atS: number): number {
    const k = Math.min(this.w.count - 1, Math.max(0, lowerBound(this.w.startS, atS) - 1));
    const level = this.levels[Math.max(0, lowerBound(this.levelStarts, atS) - 1)];
    return this.reference[windowOfFloor(this.w, k, level)] ?? 0;
  }

  /** Of the windows that lie wholly within; where none does, of those that reach into it. */
  lowest(fromS: number, toS: number): number {
    const { w, reference } = this;
    let within = Infinity;
    let low = Infinity;
    for (let k = Math.max(0, lowerBound(w.startS, fromS) - 1); k < w.count && w.startS[k]! < toS; k++) {
      low = Math.min(low, reference[k]!);
      if (w.startS[k]! >= fromS && w.endS[k]! <= toS) within = Math.min(within, reference[k]!);
    }
    return within < Infinity ? within : low;
  }
}

export function endOf(c: Conditioned): number {
  return c.t[c.t.length - 1] ?? 0;
}
