import type { Findings, Flag } from '../messages/findings.ts';
import { batteryZone, charging, outlook, surfaceCharge } from './flagsOfBattery.ts';
import { drawLimit, keepsWaking, neverSlept } from './flagsOfDraw.ts';
import { fobInRange, pollingFlags } from './flagsOfPolling.ts';
import { quality, setUp } from './flagsOfRecording.ts';
import type { FlagFacts, Rule } from './flagRule.ts';

/** Findings turned into what a technician does next, most telling first. */

/** Within a severity the order is from telling to incidental. */
const RULES: readonly Rule[] = [
  batteryZone,
  neverSlept,
  keepsWaking,
  drawLimit,
  fobInRange,
  charging,
  pollingFlags,
  outlook,
  surfaceCharge,
  setUp,
  quality,
];

const ORDER = { act: 0, watch: 1, info: 2 };

export function raiseFlags(f: Omit<Findings, 'flags'>, facts: FlagFacts): Flag[] {
  // Sorting is stable: equals stay in the order of the rules.
  return RULES.flatMap((rule) => rule(f, facts)).sort((a, b) => ORDER[a.severity] - ORDER[b.severity]);
}
