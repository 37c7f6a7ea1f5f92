import { figure } from '../analysis/accuracy.ts';
import type { MeasuredRegime } from '../analysis/regimes.ts';
import { joinedBeat, sameTrain } from '../analysis/stretches.ts';
import type { Timing } from '../analysis/trains.ts';
import type { Estimate } from '../messages/findings.ts';

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
    else out[k] = joined(out[k]!, next);
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

/** What the errors of both have in common does not average out: uncertainties are weighted like the values. */
function joined(a: MeasuredRegime, b: MeasuredRegime): MeasuredRegime {
  const { offset: _, ...beat } = joinedBeat(a.stretch, b.stretch);
  const lasts = (r: MeasuredRegime): number => r.stretch.lastS - r.stretch.firstS + r.stretch.periodS;
  const share = lasts(a) / (lasts(a) + lasts(b));
  const weigh = (x: number, y: number): number => share * x + (1 - share) * y;
  const both = (x: Estimate, y: Estimate): Estimate =>
    x === null || y === null
      ? (x ?? y)
      : {
          value: weigh(x.value, y.value),
          expandedUncertainty: weigh(x.expandedUncertainty, y.expandedUncertainty),
        };
  const common = a.candidates.filter((p) => b.candidates.includes(p));
  // A faster train that could hide in the floor of an awake car would show once it sleeps.
  const resolved = a.resolved || b.resolved;
  const floorIsBare = resolved || (a.floorIsBare && b.floorIsBare);
  return {
    resolved,
    candidates: resolved ? [] : common.length > 0 ? common : [...new Set([...a.candidates, ...b.candidates])],
    floorIsBare,
    stretch: beat,
    members: a.members,
    hitRate: weigh(a.hitRate, b.hitRate),
    duty: weigh(a.duty, b.duty),
    averageA: weigh(a.averageA, b.averageA),
    averageU: weigh(a.averageU, b.averageU),
    unseenU: weigh(a.unseenU, b.unseenU),
    restA: weigh(a.restA, b.restA),
    topA: weigh(a.topA, b.topA),
    regime: {
      startS: beat.firstS,
      endS: beat.lastS,
      periodS: resolved ? figure(beat.periodS, beat.periodU) : null,
      widthS: both(a.regime.widthS, b.regime.widthS),
      amplitudeA: both(a.regime.amplitudeA, b.regime.amplitudeA),
      chargePerPulseC: both(a.regime.chargePerPulseC, b.regime.chargePerPulseC),
      pulses: resolved ? beat.pulses : 0,
      averageA: floorIsBare ? both(a.regime.averageA, b.regime.averageA) : null,
    },
  };
}
