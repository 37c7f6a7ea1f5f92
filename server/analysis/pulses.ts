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
  const chosen: Chosen = { parts: [], part: [], place: [] };
  const visit = (excursions: Excursions, depth: number): void => {
    const number = chosen.parts.push(excursions) - 1;
    for (let i = 0; i < excursions.count; i++) {
      if (isPulse(c, excursions, i)) {
        chosen.part.push(number);
        chosen.place.push(i);
      } else if (depth < DEPTH) {
        // The readings at the edges hold only part of the raised level.
        const from = excursions.first[i]! + 1;
        const to = excursions.last[i]!;
        if (to - from < 8) continue;
        const level = lowerLevel(c.y, from, to, threshold / 2);
        // What rides on an excursion lies within it, and so before the next one.
        visit(findExcursions(c, new ConstantFloor(level), threshold, from, to), depth + 1);
      }
    }
  };
  visit(x, 0);
  return inColumns(c, withoutSteps(chosen, steps));
}

/** In time order, where each pulse stands: over which floor's excursions, and its place there. As columns: there may be millions. */
interface Chosen {
  readonly parts: Excursions[];
  readonly part: number[];
  readonly place: number[];
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
  let kept = 0;
  for (let n = 0; n < part.length; n++) {
    const p = parts[part[n]!]!;
    const i = place[n]!;
    while (next < steps.length && steps[next]! < p.first[i]! - 1) next++;
    const step = steps[next];
    if (step !== undefined && step !== 0 && step <= p.last[i]! + 1) continue;
    part[kept] = part[n]!;
    place[kept++] = i;
  }
  part.length = place.length = kept;
  return chosen;
}
