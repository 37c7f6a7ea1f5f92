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
  const parts: Excursions[] = [];
  let chosen = 0;
  const visit = (part: Excursions, depth: number): void => {
    parts.push(part);
    for (let i = 0; i < part.count; i++) {
      if (isPulse(c, part, i)) chosen++;
      else if (depth < DEPTH) {
        // The readings at the edges hold only part of the raised level.
        const from = part.first[i]! + 1;
        const to = part.last[i]!;
        if (to - from < 8) continue;
        const level = lowerLevel(c.y, from, to, threshold / 2);
        visit(findExcursions(c, new ConstantFloor(level), threshold, from, to), depth + 1);
      }
    }
  };
  visit(x, 0);
  return inColumns(c, withoutSteps(inTimeOrder(c, parts, chosen), steps));
}

/** Where a pulse stands: which of the parts, and its place there. As columns, because there may be millions. */
interface Chosen {
  readonly parts: readonly Excursions[];
  readonly part: Uint32Array;
  readonly place: Uint32Array;
}

function inTimeOrder(c: Conditioned, parts: readonly Excursions[], count: number): Chosen {
  const part = new Uint32Array(count);
  const place = new Uint32Array(count);
  let n = 0;
  parts.forEach((p, k) => {
    for (let i = 0; i < p.count; i++) {
      if (!isPulse(c, p, i)) continue;
      part[n] = k;
      place[n++] = i;
    }
  });
  if (parts.length === 1) return { parts, part, place };
  const firstOf = (k: number): number => parts[part[k]!]!.first[place[k]!]!;
  const order = Uint32Array.from({ length: count }, (_, k) => k).sort((a, b) => firstOf(a) - firstOf(b));
  return { parts, part: order.map((k) => part[k]!), place: order.map((k) => place[k]!) };
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
    const p = parts[part[k]!]!;
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
  const keeps = part.map((k, n) => {
    const p = parts[k]!;
    const i = place[n]!;
    while (next < steps.length && steps[next]! < p.first[i]! - 1) next++;
    const step = steps[next];
    return step === undefined || step === 0 || step > p.last[i]! + 1 ? 1 : 0;
  });
  if (keeps.every((k) => k === 1)) return chosen;
  const isKept = (_: number, n: number): boolean => keeps[n] === 1;
  return { parts, part: part.filter(isKept), place: place.filter(isKept) };
}
