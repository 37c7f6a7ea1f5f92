import { MOST_LAG_S, type Alignment } from '../analysis/alignment.ts';
import type { Conditioned } from '../analysis/condition.ts';
import type { CurrentStory } from '../analysis/current.ts';

/** When the car's own load changed, seconds on the current's stamps: steps of the shut-down, both ends of wake-ups. */
export function loadSteps(story: Pick<CurrentStory, 'sleep' | 'wakeUps'>): number[] {
  return [
    ...story.sleep.steps.map((x) => x.atS),
    ...story.wakeUps.flatMap((w) => [w.startS, w.startS + w.durationS]),
  ];
}

/** The voltage on the current's stamps, and by how much the two may still be apart, seconds. */
export interface AlignedVoltage {
  readonly voltage: Conditioned;
  readonly apartS: number;
}

/** Where no steps told how far the meters are apart, they may be as far apart as radios put them. */
export function alignedVoltage(voltage: Conditioned, alignment: Alignment | null): AlignedVoltage {
  if (alignment === null) return { voltage, apartS: MOST_LAG_S };
  const { lagS, standardU } = alignment;
  const apartS = 2 * standardU;
  if (Math.abs(lagS) < apartS) return { voltage, apartS };
  return { voltage: { ...voltage, t: voltage.t.map((t) => t - lagS) }, apartS };
}
