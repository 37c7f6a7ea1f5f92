import { median, valuesAt } from './statistics.ts';
import { commonS, inOrder, refitted, samePace } from './stretches.ts';
import type { PulseTimes, Stretch, Timing } from './trains.ts';

/** Pulses of one train may differ by no more than this in charge; another train's would be chance. */
const SAME_CHARGE = 1.35;
/** Part of the shorter of the two that runs beside the other. */
const BESIDE = 0.8;

/**
 * Two trains of one period, each half way between the beats of the other and alike in charge, are one train of half
 * the period, of which every second pulse was followed first: where many pulses are too low to be seen.
 */
export function joinInterleaved(
  pulses: PulseTimes,
  found: readonly Stretch[],
  timing: Timing,
): readonly Stretch[] {
  const usual = found.map((s) => median(valuesAt(pulses.charge, s.members)));
  for (const [i, a] of found.entries())
    for (let j = i + 1; j < found.length; j++) {
      const b = found[j]!;
      const ratio = usual[i]! / usual[j]!;
      if (ratio > SAME_CHARGE || ratio < 1 / SAME_CHARGE) continue;
      const both = halves(pulses, a, b, timing);
      if (both === null) continue;
      return joinInterleaved(pulses, [...found.filter((s) => s !== a && s !== b), both], timing);
    }
  return found;
}

function halves(pulses: PulseTimes, a: Stretch, b: Stretch, timing: Timing): Stretch | null {
  if (b.firstS < a.firstS) return halves(pulses, b, a, timing);
  if (!samePace(a, b) || commonS(a, b) < BESIDE * Math.min(a.lastS - a.firstS, b.lastS - b.firstS))
    return null;
  const later = (2 * (b.firstS - a.firstS)) / a.periodS;
  const offset = Math.round(later);
  const offS = (Math.abs(later - offset) * a.periodS) / 2;
  if (offset % 2 === 0 || offS > timing.toleranceS || timing.toleranceS > a.periodS / 8) return null;
  const own = inOrder(
    [...a.members, ...b.members],
    [...Array.from(a.slots, (s) => 2 * s), ...Array.from(b.slots, (s) => 2 * s + offset)],
  );
  const periodS = a.periodS / 2;
  const last = own.slots[own.slots.length - 1]!;
  const rough = { firstS: a.firstS, lastS: a.firstS + last * periodS, periodS, periodU: a.periodU };
  return refitted(pulses, { ...rough, pulses: last + 1, ...own }, timing);
}
