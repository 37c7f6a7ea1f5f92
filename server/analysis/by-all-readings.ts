import { combine, figure } from './accuracy.ts';
import type { Conditioned } from './condition.ts';
import { gainUncertainty, roundingOfMean, type MeterErrors } from './dc.ts';
import type { FloorOverTime } from './floor.ts';
import { meanExcess, type Hidden } from './mean-excess.ts';
import type { MeasuredRegime } from './regimes.ts';
import { runsAlone } from './stretches.ts';

/**
 * What a train draws whose pulses show in the readings, but were not all told singly: radios that deliver late leave
 * readings in the wrong place of a fold and lift its floor, and the mean of all readings does not care. Only for a
 * train that no other runs beside.
 */
export function byAllReadings(
  c: Conditioned,
  r: MeasuredRegime,
  all: readonly MeasuredRegime[],
  ground: {
    readonly floor: FloorOverTime;
    readonly hidden: Hidden;
    readonly meter: MeterErrors;
    /** Above it a single reading is no chance. */
    readonly threshold: number;
  },
): MeasuredRegime {
  const { stretch } = r;
  const isAlone = runsAlone(
    stretch,
    all.map((other) => other.stretch),
  );
  if (r.members.length > 0 || !isAlone || r.topA < ground.threshold) return r;
  const summed = meanExcess(c, stretch, ground.floor, ground.hidden);
  if (summed === null) return r;
  const { meter } = ground;
  const interval = c.intervalS ?? 0;
  const averageA = summed.mean;
  const averageU = combine(
    summed.standardU,
    r.unseenU,
    (1.5 * roundingOfMean(meter) * interval) / stretch.periodS,
    gainUncertainty(averageA, meter),
  );
  const charge = figure(averageA * stretch.periodS, averageU * stretch.periodS);
  return {
    ...r,
    averageA,
    averageU,
    regime: {
      ...r.regime,
      chargePerPulseC: r.resolved ? charge : null,
      averageA: r.floorIsBare ? figure(averageA, averageU) : null,
    },
  };
}
