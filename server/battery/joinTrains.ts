import { joinedRegimes } from '../analysis/joined-regimes.ts';
import type { MeasuredRegime } from '../analysis/regimes.ts';
import { sameTrain } from '../analysis/stretches.ts';
import type { Timing } from '../analysis/trains.ts';

/** Trains of two chapters that follow each other: one that runs on over the border is one. */
export function joinTrains(
  before: readonly MeasuredRegime[],
  after: readonly MeasuredRegime[],
  timing: Timing,
): MeasuredRegime[] {
  const out = [...before];
  for (const next of after) {
    const k = out.findLastIndex((r) => r.stretch.firstS < next.stretch.firstS && runsOn(r, next, timing));
    if (k < 0) out.push(next);
    else out[k] = joinedRegimes(out[k]!, next);
  }
  return out.sort((a, b) => a.stretch.firstS - b.stretch.firstS);
}

/** A train that cannot be timed is told by its pace or by what it draws, and by a pause no longer than this. */
const LONGEST_PAUSE_S = 120;
const SAME_DRAW = 0.1;
const SAME_PACE = 1e-3;

function runsOn(a: MeasuredRegime, b: MeasuredRegime, timing: Timing): boolean {
  if (sameTrain(a.stretch, b.stretch, timing)) return true;
  if ((a.resolved && b.resolved) || b.stretch.firstS - a.stretch.lastS > LONGEST_PAUSE_S) return false;
  const { periodS, periodU } = a.stretch;
  const pace = Math.abs(periodS - b.stretch.periodS);
  if (pace <= SAME_PACE * periodS + 4 * Math.hypot(periodU, b.stretch.periodU)) return true;
  if (a.resolved || b.resolved) return false;
  const apart = Math.abs(a.averageA - b.averageA);
  return apart < 2 * Math.hypot(a.averageU, b.averageU) + SAME_DRAW * Math.max(a.averageA, b.averageA);
}
