import { combine, figure, resolutionUncertainty } from './accuracy.ts';
import { lowerBound, overlapOf, type Conditioned, type Span } from './condition.ts';
import { unseenShare, unvisitedPart } from './dead-time.ts';
import { gainUncertainty, roundingOfMean, type MeterErrors } from './dc.ts';
import type { FloorOverTime } from './floor.ts';
import { meanExcess, type Hidden } from './mean-excess.ts';
import type { Pulses } from './pulses.ts';
import type { Estimate, Regime } from '../messages/findings.ts';
import { quantile, valuesAt } from './statistics.ts';
import { pulseShape } from './shape.ts';
import { runsAlone } from './stretches.ts';
import { typicalCharge } from './typical-charge.ts';
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
  /** Share of the period that one pulse's readings take up. */
  readonly duty: number;
  readonly averageA: number;
  readonly averageU: number;
  /** What of `averageU` is due to pulses that fell into dead time: means of the readings share it. */
  readonly unseenU: number;
  /** Its own floor above the one that excursions are measured against. */
  readonly restA: number;
  /** How high one whole pulse stands in a reading. */
  readonly topA: number;
}

export function measureRegimes(
  c: Conditioned,
  pulses: Pulses,
  stretches: readonly Stretch[],
  floor: FloorOverTime,
  meter: MeterErrors,
  hidden: Hidden = { edges: [], raised: [] },
): MeasuredRegime[] {
  return stretches.map((s) => measureRegime(c, pulses, s, stretches, floor, meter, hidden));
}

function measureRegime(
  c: Conditioned,
  pulses: Pulses,
  stretch: Stretch,
  all: readonly Stretch[],
  floor: FloorOverTime,
  meter: MeterErrors,
  hidden: Hidden,
): MeasuredRegime {
  const interval = c.intervalS ?? 0;
  const charge = typicalCharge(c, pulses, stretch, all);
  const from = lowerBound(c.t, stretch.firstS - stretch.periodS / 2);
  const to = lowerBound(c.t, stretch.lastS + stretch.periodS / 2);
  const readS = Math.max(interval, (to - from) * interval);
  const observedS = readS + beyondEnds(c, stretch, from, to);
  const hits = stretch.members.length + claimedByOthers(pulses, stretch, interval, hidden.edges);
  const counted = (charge.mean * hits) / observedS;
  // A pulse's readings carry the noise of three readings even where the pulses are all alike.
  const eachU = Math.max(charge.deviation, Math.sqrt(3) * meter.noise * interval);
  const missed = Math.max(0, observedS / stretch.periodS - hits);
  // The time observed is whole readings, and a beat that was missed may have been none.
  const miscounted =
    Math.hypot(interval / stretch.periodS, Math.sqrt(Math.min(missed, hits))) / Math.max(1, hits);
  const topA = topReading(pulses, charge.alone.length >= 5 ? charge.alone : stretch.members);
  const clipped = (combine(meter.noise, resolutionUncertainty(c.resolution ?? 0)) / topA) ** 2;
  const alone = runsAlone(stretch, all);
  const spanS = stretch.lastS + stretch.periodS - stretch.firstS;
  const keptS = spanS - overlapOf(c.gaps, stretch.firstS, stretch.lastS);
  const thin =
    stretch.members.length < CLEAR * Math.min(stretch.pulses, observedS / stretch.periodS) ||
    observedS < CLEAR * keptS;
  const summed = thin && alone ? meanExcess(c, stretch, floor, hidden) : null;
  const averageA = summed === null ? counted : summed.mean * (readS / observedS);
  const chargePerPulse = averageA * stretch.periodS;
  const apertureS = c.apertureS ?? interval;
  const unvisited = unvisitedPart(stretch.periodS, stretch.pulses, { apertureS, intervalS: interval });
  const unseenU = averageA * unseenShare(unvisited, stretch.periodS, apertureS);
  const averageU = combine(
    unseenU,
    summed === null
      ? combine(
          (averageA * eachU) / Math.max(charge.mean, 1e-300) / Math.sqrt(hits),
          (averageA * miscounted) / 2,
          averageA * (SHAPE_SLACK + CLIPPED_SLACK * clipped + TOGETHER_SLACK * charge.together),
        )
      : combine(summed.standardU, (2 * meter.noise) / Math.sqrt(to - from)),
    (1.5 * roundingOfMean(meter) * interval) / stretch.periodS,
    gainUncertainty(averageA, meter),
  );
  const { resolved, candidates, floorIsBare } = resolvePeriod({
    periodS: stretch.periodS,
    top: topA,
    topUncertainty: TOP_DEVIATIONS * meter.noise,
    meanExcess: averageA,
    floor: floor.lowest(stretch.firstS, stretch.lastS),
    floorUncertainty: combine(meter.noise, (c.resolution ?? 0) / 2),
    intervalS: interval,
    apertureS,
    readingsPerBeat: readingsOf(pulses, stretch) * Math.min(1, (hits * stretch.periodS) / observedS),
    unvisited,
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
    duty: readingsOf(pulses, stretch) * (interval / stretch.periodS),
    averageA,
    averageU,
    unseenU,
    restA: 0,
    topA,
    regime: {
      startS: stretch.firstS,
      endS: stretch.lastS,
      periodS: orNull(figure(stretch.periodS, stretch.periodU, c.clockU * stretch.periodS)),
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

/** Half a period on either side belongs to a train: what of it lies before the first reading, or after the last one. */
function beyondEnds(c: Conditioned, stretch: Stretch, from: number, to: number): number {
  const { t } = c;
  const half = stretch.periodS / 2;
  const before = from > 0 ? 0 : t[0]! - (c.intervalS ?? 0) - (stretch.firstS - half);
  const after = to < t.length ? 0 : stretch.lastS + half - t[t.length - 1]!;
  return Math.max(0, before) + Math.max(0, after);
}

/** Where fewer beats were followed, or readings kept, what all readings hold above the floor is the measure. */
const CLEAR = 0.985;

/** What the tails of pulses below the threshold, and pulses that fall together, may do to an average. */
const SHAPE_SLACK = 3.5e-5;
/** A part of a pulse below the threshold is lost: as often as the threshold is high, and as much each time. */
const CLIPPED_SLACK = 1.5;
const TOGETHER_SLACK = 0.02;

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
  const isOwn = new Uint8Array(pulses.count);
  for (const i of members) isOwn[i] = 1;
  let count = 0;
  for (let k = 1; k < members.length; k++) {
    const missing = slots[k]! - slots[k - 1]! - 1;
    if (missing < 1 || missing > 50) continue;
    const a = pulses.at[members[k - 1]!]!;
    const step = (pulses.at[members[k]!]! - a) / (missing + 1);
    for (let m = 1; m <= missing; m++) {
      const due = a + m * step;
      const next = lowerBound(pulses.at, due);
      const covered = [next, next - 1].filter((i) => covers(pulses, i, due, interval));
      // What fell into a pulse of its own is already in that pulse's charge.
      if (covered.some((i) => isOwn[i] === 1)) continue;
      if (covered.length > 0 || overlapOf(masked, due - interval, due + interval) > 0) count++;
    }
  }
  return count;
}

/** Whether a pulse's readings reach over a moment; a quarter of its length is its blur. */
function covers(pulses: Pulses, i: number, atS: number, interval: number): boolean {
  return i >= 0 && i < pulses.count && Math.abs(pulses.at[i]! - atS) <= 2 * pulses.blur[i]! + interval;
}

/** Readings of one pulse, on average. */
function readingsOf(pulses: Pulses, { members }: Stretch): number {
  let sum = 0;
  for (const i of members) sum += pulses.last[i]! - pulses.first[i]! + 1;
  return sum / Math.max(1, members.length);
}

/** The readings that hold a whole pulse are the highest; a few that hold two trains' pulses are left out. */
function topReading(pulses: Pulses, members: ArrayLike<number>): number {
  return quantile(valuesAt(pulses.peak, members), TOP_QUANTILE);
}

const TOP_QUANTILE = 0.85;
/** How far that quantile of a normal distribution lies above its middle. */
const TOP_DEVIATIONS = 1.04;
