import { median, standardDeviation } from '../analysis/statistics.ts';

export interface Rhythm {
  readonly intervalS: number;
  readonly regular: boolean;
}

/** Usual time between events (three or more start times, rising), and whether it is kept to within a tenth. */
export function regularity(startsS: readonly number[]): Rhythm {
  const between = startsS.slice(1).map((t, i) => t - startsS[i]!);
  const intervalS = median(between);
  return { intervalS, regular: standardDeviation(between) < 0.1 * intervalS };
}
