import { figure } from './accuracy.ts';
import type { MeasuredRegime } from './regimes.ts';
import { joinedBeat } from './stretches.ts';
import type { Estimate } from '../messages/findings.ts';

/**
 * Two regimes of one train as one.
 * What the errors of both have in common does not average out: uncertainties are weighted like the values.
 */
export function joinedRegimes(a: MeasuredRegime, b: MeasuredRegime): MeasuredRegime {
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
