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
  const chosen: { part: Excursions; i: number }[] = [];
  const visit = (part: Excursions, depth: number): void => {
    parts.push(part);
    for (let i = 0; i < part.count; i++) {
      if (isPulse(c, part, i)) chosen.push({ part, i });
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
  if (parts.length > 1) chosen.sort((a, b) => a.part.first[a.i]! - b.part.first[b.i]!);
  const kept = withoutSteps(chosen, steps);
  return {
    count: kept.length,
    at: Float64Array.from(kept, (k) => k.part.at[k.i]!),
    charge: Float64Array.from(kept, (k) => k.part.charge[k.i]!),
    peak: Float64Array.from(kept, (k) => k.part.peak[k.i]!),
    first: Int32Array.from(kept, (k) => k.part.first[k.i]!),
    last: Int32Array.from(kept, (k) => k.part.last[k.i]!),
    blur: Float64Array.from(kept, (k) => (c.t[k.part.last[k.i]!]! - c.t[k.part.first[k.i]!]!) / 4),
  };
}

/** What a shut-down step leaves at its edge is no pulse. */
function withoutSteps<T extends { part: Excursions; i: number }>(
  chosen: readonly T[],
  steps: readonly number[],
): T[] {
  let next = 0;
  return chosen.filter(({ part, i }) => {
    while (next < steps.length && steps[next]! < part.first[i]! - 1) next++;
    const step = steps[next];
    return step === undefined || step === 0 || step > part.last[i]! + 1;
  });
}
