import { combine, figure } from './accuracy.ts';
import { lowerBound, overlapOf, type Conditioned, type Span } from './condition.ts';
import { gainUncertainty, roundingOfMean, type MeterErrors } from './dc.ts';
import type { FloorOverTime } from './floor.ts';
import type { Pulses } from './pulses.ts';
import type { Estimate, Regime } from '../messages/findings.ts';
import { mean, median, quantile, standardDeviation } from './statistics.ts';
import { pulseShape } from './shape.ts';
import type { Stretch } from './trains.ts';
import { resolvePeriod } from './resolvability.ts';

/** Stage 9: what each stretch of a train draws, and whether its period may be called measured. */

export interface MeasuredRegime {
  readonly regime: Regime;
  readonly resolved: boolean;
  readonly candidates: readonly number[];
  /** False where pulses that never show may hide in the floor. */
  readonly floorIsBare: boolean;
  readonly stretch: Omit<Stretch, 'members' | 'slots'>;
  /** Which pulses are its own; none where only folding shows them. */
  readonly members: Int32Array;
  /** Share of its beats at which a pulse was seen; 1 where it was folded. */
  readonly hitRate: number;
  readonly averageA: number;
  readonly averageU: number;
  /** How high one whole pulse stands in a reading. */
  readonly topA: number;
}

export function measureRegimes(
  c: Conditioned,
  pulses: Pulses,
  stretches: readonly Stretch[],
  floor: FloorOverTime,
  meter: MeterErrors,
  masked: readonly Span[] = [],
): MeasuredRegime[] {
  return stretches.map((s) => measureRegime(c, pulses, s, stretches, floor, meter, masked));
}

function measureRegime(
  c: Conditioned,
  pulses: Pulses,
  stretch: Stretch,
  all: readonly Stretch[],
  floor: FloorOverTime,
  meter: MeterErrors,
  masked: readonly Span[],
): MeasuredRegime {
  const interval = c.intervalS ?? 0;
  const charge = typicalCharge(c, pulses, stretch, all);
  const from = lowerBound(c.t, stretch.firstS - stretch.periodS / 2);
  const to = lowerBound(c.t, stretch.lastS + stretch.periodS / 2);
  const observedS = Math.max(interval, (to - from) * interval);
  const hits = stretch.members.length + claimedByOthers(pulses, stretch, interval, masked);
  const averageA = (charge.mean * hits) / observedS;
  const chargePerPulse = averageA * stretch.periodS;
  // A pulse's readings carry the noise of three readings even where the pulses are all alike.
  const eachU = Math.max(charge.deviation, Math.sqrt(3) * meter.noise * interval);
  const missed = Math.max(0, observedS / stretch.periodS - hits);
  const counted = Math.sqrt(1 + Math.min(missed, hits)) / Math.max(1, hits);
  const averageU = combine(
    (averageA * eachU) / Math.max(charge.mean, 1e-300) / Math.sqrt(hits),
    (averageA * counted) / 2,
    averageA * (SHAPE_SLACK + TOGETHER_SLACK * charge.together),
    (1.5 * roundingOfMean(meter) * interval) / stretch.periodS,
    gainUncertainty(averageA, meter),
  );
  const topA = topReading(pulses, stretch);
  const { resolved, candidates, floorIsBare } = resolvePeriod({
    periodS: stretch.periodS,
    top: topA,
    meanExcess: averageA,
    floor: floor.lowest(stretch.firstS, stretch.lastS),
    floorUncertainty: combine(meter.noise, (c.resolution ?? 0) / 2),
    intervalS: interval,
    apertureS: c.apertureS ?? interval,
  });
  const shape = resolved ? pulseShape(c, pulses, stretch, chargePerPulse, floor) : null;
  const orNull = (e: Estimate): Estimate => (resolved ? e : null);
  return {
    resolved,
    candidates,
    floorIsBare,
    stretch,
    members: stretch.members,
    hitRate: Math.min(1, (hits * stretch.periodS) / observedS),
    averageA,
    averageU,
    topA,
    regime: {
      startS: stretch.firstS,
      endS: stretch.lastS,
      periodS: orNull(figure(stretch.periodS, stretch.periodU)),
      widthS: shape === null ? null : figure(shape.widthS, shape.widthU),
      amplitudeA:
        shape === null
          ? null
          : figure(shape.amplitude, shape.amplitudeU, gainUncertainty(shape.amplitude, meter)),
      chargePerPulseC: orNull(figure(chargePerPulse, averageU * stretch.periodS)),
      pulses: resolved ? stretch.pulses : 0,
      averageA: floorIsBare ? figure(averageA, averageU) : null,
    },
  };
}

/** What the tails of pulses below the threshold, and pulses that fall together, may do to an average. */
const SHAPE_SLACK = 1e-4;
const TOGETHER_SLACK = 0.02;

/** Mean charge of the pulses that no pulse of another train falls together with. */
function typicalCharge(
  c: Conditioned,
  pulses: Pulses,
  stretch: Stretch,
  all: readonly Stretch[],
): { mean: number; deviation: number; together: number } {
  const interval = c.intervalS ?? 0;
  const others = all.filter((s) => s !== stretch && s.firstS <= stretch.lastS && s.lastS >= stretch.firstS);
  const beats = others.map((s) => new BeatNear(pulses, s));
  const alone: number[] = [];
  for (const i of stretch.members) {
    const reach = (c.t[pulses.last[i]!]! - c.t[pulses.first[i]!]!) / 2 + 1.5 * interval;
    if (beats.every((b) => b.distance(pulses.at[i]!) > reach)) alone.push(pulses.charge[i]!);
  }
  const together = 1 - alone.length / Math.max(1, stretch.members.length);
  if (alone.length >= 5) return { mean: mean(alone), deviation: standardDeviation(alone), together };
  const every = Array.from(stretch.members, (i) => pulses.charge[i]!);
  return { mean: median(every), deviation: every.length > 1 ? standardDeviation(every) : 0, together };
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

/**
 * Missing beats at whose time another pulse was seen, so that only one could be counted, or at which a step or
 * a wake-up's edge (`masked`, in order) covers what a pulse would look like.
 */
function claimedByOthers(
  pulses: Pulses,
  stretch: Stretch,
  interval: number,
  masked: readonly Span[],
): number {
  const { members, slots } = stretch;
  let count = 0;
  for (let k = 1; k < members.length; k++) {
    const missing = slots[k]! - slots[k - 1]! - 1;
    if (missing < 1 || missing > 50) continue;
    const a = pulses.at[members[k - 1]!]!;
    const step = (pulses.at[members[k]!]! - a) / (missing + 1);
    for (let m = 1; m <= missing; m++) {
      const due = a + m * step;
      const next = lowerBound(pulses.at, due);
      if (
        covers(pulses, next, due, interval) ||
        covers(pulses, next - 1, due, interval) ||
        overlapOf(masked, due - interval, due + interval) > 0
      )
        count++;
    }
  }
  return count;
}

/** Whether a pulse's readings reach over a moment; a quarter of its length is its blur. */
function covers(pulses: Pulses, i: number, atS: number, interval: number): boolean {
  return i >= 0 && i < pulses.count && Math.abs(pulses.at[i]! - atS) <= 2 * pulses.blur[i]! + interval;
}

/** The readings that hold a whole pulse are the highest; a few that hold two trains' pulses are left out. */
function topReading(pulses: Pulses, stretch: Stretch): number {
  return quantile(
    Float64Array.from(stretch.members, (i) => pulses.peak[i]!),
    0.85,
  );
}
