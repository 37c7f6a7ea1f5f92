import type { Conditioned } from './condition.ts';
import type { Pulses } from './pulses.ts';
import { mean, median, standardDeviation, valuesAt } from './statistics.ts';
import type { Stretch } from './trains.ts';

/** Mean charge of the pulses that no pulse of another train falls together with. */
export function typicalCharge(
  c: Conditioned,
  pulses: Pulses,
  stretch: Stretch,
  all: readonly Stretch[],
): { alone: ArrayLike<number>; mean: number; deviation: number; together: number } {
  const interval = c.intervalS ?? 0;
  const others = all.filter((s) => s !== stretch && s.firstS <= stretch.lastS && s.lastS >= stretch.firstS);
  const beats = others.map((s) => new BeatNear(pulses, s));
  const isAlone = (i: number): boolean => {
    const reach = (c.t[pulses.last[i]!]! - c.t[pulses.first[i]!]!) / 2 + 1.5 * interval;
    return beats.every((b) => b.distance(pulses.at[i]!) > reach);
  };
  const alone = beats.length === 0 ? stretch.members : stretch.members.filter(isAlone);
  const together = 1 - alone.length / Math.max(1, stretch.members.length);
  const own = valuesAt(pulses.charge, alone);
  if (own.length >= 5) return { alone, mean: mean(own), deviation: standardDeviation(own), together };
  const every = valuesAt(pulses.charge, stretch.members);
  return {
    alone,
    mean: median(every),
    deviation: every.length > 1 ? standardDeviation(every) : 0,
    together,
  };
}

/** How far a moment is from the nearest beat of a train, counted from its nearest observed pulse. */
class BeatNear {
  private k = 0;

  constructor(
    private readonly pulses: Pulses,
    private readonly train: Stretch,
  ) {}

  /** Calls must come with rising times. */
  distance(atS: number): number {
    const { members, periodS, firstS, lastS } = this.train;
    if (atS < firstS - periodS / 2 || atS > lastS + periodS / 2) return Infinity;
    const at = (k: number): number => this.pulses.at[members[k]!]!;
    while (this.k + 1 < members.length && Math.abs(at(this.k + 1) - atS) <= Math.abs(at(this.k) - atS))
      this.k++;
    const beats = (atS - at(this.k)) / periodS;
    return Math.abs(beats - Math.round(beats)) * periodS;
  }
}
