import type { Scenario } from './scenario.ts';
import { healthy } from './scenarios/healthy.ts';
import { keepsWaking } from './scenarios/keepsWaking.ts';
import { live } from './scenarios/live.ts';
import { lowAuxiliary } from './scenarios/lowAuxiliary.ts';
import { shortNight } from './scenarios/shortNight.ts';
import { stretching } from './scenarios/stretching.ts';

/** The evenings that the virtual car knows. */
export const SCENARIOS = {
  healthy,
  'low-auxiliary': lowAuxiliary,
  'keeps-waking': keepsWaking,
  stretching,
  live,
  'short-night': shortNight,
} as const satisfies Record<string, Scenario>;

export type ScenarioName = keyof typeof SCENARIOS;
