import type { Conditioned } from './condition.ts';
import { ExcursionColumns, findExcursions, type Excursions } from './excursions.ts';
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
  const columns = new ExcursionColumns(x.count);
  const isLeftByStep = edgesOf(steps);
  const visit = (excursions: Excursions, depth: number): void => {
    const { at, first, last, charge, peak } = excursions;
    for (let i = 0; i < excursions.count; i++) {
      if (isPulse(c, excursions, i)) {
        if (!isLeftByStep(first[i]!, last[i]!))
          columns.push(at[i]!, first[i]!, last[i]!, charge[i]!, peak[i]!);
      } else if (depth < DEPTH) {
        // The readings at the edges hold only part of the raised level.
        const from = first[i]! + 1;
        const to = last[i]!;
        if (to - from < 8) continue;
        const level = lowerLevel(c.y, from, to, threshold / 2);
        // What rides on an excursion lies within it, and so before the next one.
        visit(findExcursions(c, new ConstantFloor(level), threshold, from, to), depth + 1);
      }
    }
  };
  visit(x, 0);
  const found = columns.done();
  const blur = new Float64Array(found.count);
  for (let k = 0; k < blur.length; k++) blur[k] = (c.t[found.last[k]!]! - c.t[found.first[k]!]!) / 4;
  return { ...found, blur };
}

/** What a shut-down step leaves at its edge is no pulse. Steps rise, and so must what is asked about. */
function edgesOf(steps: readonly number[]): (first: number, last: number) => boolean {
  let next = 0;
  return (first, last) => {
    while (next < steps.length && steps[next]! < first - 1) next++;
    const step = steps[next];
    return step !== undefined && step !== 0 && step <= last + 1;
  };
}
