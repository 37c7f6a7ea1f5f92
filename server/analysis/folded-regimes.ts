import { combine, figure } from './accuracy.ts';
import type { Conditioned } from './condition.ts';
import { gainUncertainty, roundingOfMean, type MeterErrors } from './dc.ts';
import { unseenShare, unvisitedPart } from './dead-time.ts';
import type { FloorOverTime } from './floor.ts';
import { findHidden, layOnGrid, type HiddenTrain } from './hidden.ts';
import type { MeasuredRegime } from './regimes.ts';
import { resolvePeriod } from './resolvability.ts';

/** Trains that only folding shows, as regimes; `quiet` says which samples no wake-up or step covers. */
export function foldedRegimes(
  c: Conditioned,
  floor: FloorOverTime,
  quiet: (sample: number) => boolean,
  meter: MeterErrors,
): MeasuredRegime[] {
  const grid = layOnGrid(c, 0, c.t.length, (i) => floor.at(c.t[i]!), quiet);
  return grid === null ? [] : findHidden(grid).map((h) => toRegime(c, h, floor, meter));
}

function toRegime(c: Conditioned, h: HiddenTrain, floor: FloorOverTime, meter: MeterErrors): MeasuredRegime {
  const interval = c.intervalS ?? 0;
  const { box, periodS } = h;
  // Where most of the period stands high, the low part is the floor: its middle, because readings at its edges hold
  // part of a pulse.
  const dip = box.height < 0;
  const lower = dip ? box.floor + box.top : box.floor;
  const averageA = dip ? box.excess - box.top : box.excess;
  const pulseReading = Math.abs(box.top);
  const floorU = dip ? box.floorU * Math.sqrt(3 / Math.max(box.share, 0.01)) : box.floorU;
  const apertureS = c.apertureS ?? interval;
  const unvisited = unvisitedPart(periodS, h.pulses, { apertureS, intervalS: interval });
  const unseenU = averageA * unseenShare(unvisited, periodS, apertureS);
  const averageU = combine(
    unseenU,
    floorU,
    gainUncertainty(averageA, meter),
    Math.min(roundingOfMean(meter), averageA / 10),
  );
  const { resolved, candidates, floorIsBare } = resolvePeriod({
    periodS,
    top: pulseReading,
    meanExcess: averageA,
    floor: floor.lowest(h.firstS, h.lastS) + lower,
    floorUncertainty: combine(floorU, (c.resolution ?? 0) / 2),
    intervalS: interval,
    apertureS,
    readingsPerBeat: ((dip ? 1 - box.share : box.share) * periodS) / interval,
    unvisited,
  });
  const widthS = (averageA * periodS) / pulseReading;
  const wide = resolved && widthS > 2 * (c.apertureS ?? Infinity);
  const widthU = (widthS * averageU) / Math.max(averageA, 1e-300) + interval / 2;
  const charge = averageA * periodS;
  return {
    resolved,
    candidates,
    floorIsBare,
    stretch: {
      firstS: h.firstS,
      lastS: h.lastS,
      periodS,
      periodU: h.periodU,
      pulses: h.pulses,
    },
    members: new Int32Array(0),
    hitRate: 1,
    duty: box.share,
    averageA,
    averageU,
    unseenU,
    restA: lower,
    topA: pulseReading,
    regime: {
      startS: h.firstS,
      endS: h.lastS,
      periodS: resolved ? figure(periodS, h.periodU, c.clockU * periodS) : null,
      widthS: wide ? figure(widthS, widthU) : null,
      amplitudeA: wide ? figure(pulseReading, averageU, (pulseReading * widthU) / widthS) : null,
      chargePerPulseC: resolved ? figure(charge, averageU * periodS) : null,
      pulses: resolved ? h.pulses : 0,
      averageA: floorIsBare ? figure(averageA, averageU) : null,
    },
  };
}
