import type { Level } from './levels.ts';
import type { Sleep } from './sleep.ts';
import { mean, standardDeviation } from './statistics.ts';
import type { Windows } from './windows.ts';

const PARTS = 12;
const LEAST_WINDOWS = 4;
/** Means of so many equal parts spread this many of their own deviations by chance alone. */
const BY_CHANCE = 8;
const LARGEST_JUMP = 0.5;

/**
 * How far the floor of the sleeping car wandered within its levels, between their steps: the temperature moves a
 * clamp's zero, and a load may drift, and the readings cannot tell which. 0 where it kept still.
 */
export function wanderOf(w: Windows, levels: readonly Level[], sleep: Sleep): number {
  let most = 0;
  levels.forEach((level, k) => {
    const count = level.lastWindow - level.firstWindow + 1;
    const size = Math.floor(count / PARTS);
    if (sleep.kinds[k] !== 'settled' || size < LEAST_WINDOWS) return;
    const means: number[] = [];
    const errors: number[] = [];
    for (let p = 0; p < PARTS; p++) {
      const from = level.firstWindow + p * size;
      const part = middleOf(w.floor.slice(from, from + size));
      means.push(mean(part));
      errors.push(standardDeviation(part) / Math.sqrt(part.length));
    }
    const range = Math.max(...means) - Math.min(...means);
    const jump = Math.max(...means.slice(1).map((m, p) => Math.abs(m - means[p]!)));
    // A floor that jumps where a train begins or ends has not drifted.
    if (range > BY_CHANCE * Math.max(mean(errors), 1e-12) && jump < LARGEST_JUMP * range)
      most = Math.max(most, range);
  });
  return most;
}

/** Without the fifth at either end: windows that a wake-up or a pulse has lifted. */
function middleOf(x: Float64Array): Float64Array {
  const cut = Math.floor(x.length / 5);
  return x.sort().subarray(cut, x.length - cut);
}
