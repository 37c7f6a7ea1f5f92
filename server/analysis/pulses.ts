import type { Conditioned } from './condition.ts';
import { findExcursions, type Excursions } from './excursions.ts';
import { ConstantFloor, lowerLevel } from './floor.ts';
import { isPulse } from './wake-ups.ts';

/** Short excursions in time order: those that stand on the floor, and those that ride on a wake-up. */
export interface Pulses {
  readonly count: number;
  readonly at: Float64Array;
  readonly charge: Float64Array;
  readonly peak: Float64Array;
  readonly first: Int32Array;
  readonly last: Int32Array;
  /** How far a time may be off where another train's pulse falls into a long one: a part of its length. */
  readonly blur: Float64Array;
}

/** A wake-up may have levels of its own, each with pulses on it. */
const DEPTH = 3;

export function collectPulses(
  c: Conditioned,
  x: Excursions,
  threshold: number,
  steps: readonly number[],
): Pulses {
  const parts: Part[] = [];
  let chosen = 0;
  const visit = (excursions: Excursions, depth: number): number => {
    const riding = new Map<number, number>();
    const number = parts.push({ excursions, riding }) - 1;
    for (let i = 0; i < excursions.count; i++) {
      if (isPulse(c, excursions, i)) chosen++;
      else if (depth < DEPTH) {
        // The readings at the edges hold only part of the raised level.
        const from = excursions.first[i]! + 1;
        const to = excursions.last[i]!;
        if (to - from < 8) continue;
        const level = lowerLevel(c.y, from, to, threshold / 2);
        riding.set(i, visit(findExcursions(c, new ConstantFloor(level), threshold, from, to), depth + 1));
      }
    }
    return number;
  };
  visit(x, 0);
  return inColumns(c, withoutSteps(inTimeOrder(c, parts, chosen), steps));
}

/** Excursions over one floor, and which part rides on which of them. */
interface Part {
  readonly excursions: Excursions;
  readonly riding: ReadonlyMap<number, number>;
}

/** Where a pulse stands: which of the parts, and its place there. As columns, because there may be millions. */
interface Chosen {
  readonly parts: readonly Part[];
  readonly part: Uint32Array;
  readonly place: Uint32Array;
}

/** What rides on an excursion lies within it, and so before the next one. */
function inTimeOrder(c: Conditioned, parts: readonly Part[], count: number): Chosen {
  const part = new Uint32Array(count);
  const place = new Uint32Array(count);
  let n = 0;
  const visit = (k: number): void => {
    const { excursions, riding } = parts[k]!;
    for (let i = 0; i < excursions.count; i++) {
      const above = riding.get(i);
      if (above !== undefined) visit(above);
      else if (isPulse(c, excursions, i)) {
        part[n] = k;
        place[n++] = i;
      }
    }
  };
  visit(0);
  return { parts, part, place };
}

function inColumns(c: Conditioned, { parts, part, place }: Chosen): Pulses {
  const count = part.length;
  const out = {
    count,
    at: new Float64Array(count),
    charge: new Float64Array(count),
    peak: new Float64Array(count),
    first: new Int32Array(count),
    last: new Int32Array(count),
    blur: new Float64Array(count),
  };
  for (let k = 0; k < count; k++) {
    const p = parts[part[k]!]!.excursions;
    const i = place[k]!;
    out.at[k] = p.at[i]!;
    out.charge[k] = p.charge[i]!;
    out.peak[k] = p.peak[i]!;
    out.first[k] = p.first[i]!;
    out.last[k] = p.last[i]!;
    out.blur[k] = (c.t[p.last[i]!]! - c.t[p.first[i]!]!) / 4;
  }
  return out;
}

/** What a shut-down step leaves at its edge is no pulse. */
function withoutSteps(chosen: Chosen, steps: readonly number[]): Chosen {
  const { parts, part, place } = chosen;
  let next = 0;
  let kept = 0;
  for (let n = 0; n < part.length; n++) {
    const p = parts[part[n]!]!.excursions;
    const i = place[n]!;
    while (next < steps.length && steps[next]! < p.first[i]! - 1) next++;
    const step = steps[next];
    if (step !== undefined && step !== 0 && step <= p.last[i]! + 1) continue;
    part[kept] = part[n]!;
    place[kept++] = i;
  }
  return { parts, part: part.subarray(0, kept), place: place.subarray(0, kept) };
}
