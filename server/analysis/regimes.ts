import { combine, figure } from './accuracy.ts';
import { lowerBound, type Conditioned } from './condition.ts';
import { gainUncertainty, type MeterErrors } from './dc.ts';
import type { Excursions } from './excursions.ts';
import type { Estimate, Regime } from '../messages/findings.ts';
import { mean, median, standardDeviation } from './statistics.ts';
import type { Stretch } from './trains.ts';
import type { Raised } from './wake-ups.ts';
import { resolvePeriod } from './resolvability.ts';

/** Stage 9: what each stretch of a train draws, and whether its period may be called measured. */

export interface Floor {
  readonly at: (atS: number) => number;
  /** The lowest floor of a stretch: what it leaves for pulses that never show is least there. */
  readonly lowest: (fromS: number, toS: number) => number;
}

export interface MeasuredRegime {
  readonly regime: Regime;
  readonly resolved: boolean;
  readonly candidates: readonly number[];
  readonly stretch: Stretch;
  readonly averageA: number;
  readonly averageU: number;
}

/** The width is given only where a pulse is this much longer than the aperture. */
const WIDTH_OVER_APERTURE = 1.2;

export function measureRegime(
  c: Conditioned,
  x: Excursions,
  pulses: Int32Array,
  stretch: Stretch,
  floor: Floor,
  raised: readonly Raised[],
  meter: MeterErrors,
): MeasuredRegime {
  const interval = c.intervalS ?? 0;
  const from = lowerBound(c.t, stretch.firstS - stretch.periodS / 2);
  const to = lowerBound(c.t, stretch.lastS + stretch.periodS / 2);
  // Under a wake-up no pulse can be told apart: leave that time out on both sides of the fraction.
  const hidden = raised.reduce(
    (n, r) => n + Math.max(0, Math.min(to, r.last + 1) - Math.max(from, r.first)),
    0,
  );
  const readings = Math.max(1, to - from - hidden);
  const charges = Float64Array.from(stretch.members, (i) => x.charge[pulses[i]!]!);
  let sum = 0;
  for (const q of charges) sum += q;
  const averageA = sum / (readings * interval);
  const chargePerPulse = averageA * stretch.periodS;
  const spread = charges.length > 1 ? standardDeviation(charges) : 0;
  const scatter = spread / Math.sqrt(charges.length) / Math.max(mean(charges), 1e-300);
  const averageU = combine(averageA * scatter, gainUncertainty(averageA, meter));
  const { resolved, candidates } = resolvePeriod({
    periodS: stretch.periodS,
    pulseReading: pulseReading(x, pulses, stretch, interval),
    meanExcess: averageA,
    floor: floor.lowest(stretch.firstS, stretch.lastS),
    floorUncertainty: combine(meter.noise, (c.resolution ?? 0) / 2),
    intervalS: interval,
    apertureS: c.apertureS ?? interval,
  });
  const shape = resolved ? pulseShape(c, x, pulses, stretch, chargePerPulse, floor.at) : null;
  const orNull = (e: Estimate): Estimate => (resolved ? e : null);
  return {
    resolved,
    candidates,
    stretch,
    averageA,
    averageU,
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
      averageA: figure(averageA, averageU),
    },
  };
}

/** What one whole pulse adds to a reading: its charge over the interval, unless readings lie far apart. */
function pulseReading(x: Excursions, pulses: Int32Array, stretch: Stretch, interval: number): number {
  const charge = median(Float64Array.from(stretch.members, (i) => x.charge[pulses[i]!]!));
  const peak = median(Float64Array.from(stretch.members, (i) => x.peak[pulses[i]!]!));
  return Math.max(peak, Math.min(charge / interval, 1.5 * peak));
}

interface Shape {
  readonly widthS: number;
  readonly widthU: number;
  readonly amplitude: number;
  readonly amplitudeU: number;
}

/** Height from the readings that lie wholly inside a pulse, width from charge over height. */
function pulseShape(
  c: Conditioned,
  x: Excursions,
  pulses: Int32Array,
  stretch: Stretch,
  charge: number,
  floorNear: (atS: number) => number,
): Shape | null {
  const inner: number[] = [];
  const step = Math.max(1, Math.floor(stretch.members.length / 2000));
  for (let k = 0; k < stretch.members.length; k += step) {
    const i = pulses[stretch.members[k]!]!;
    for (let j = x.first[i]! + 1; j < x.last[i]!; j++) inner.push(c.y[j]! - floorNear(c.t[j]!));
  }
  const looked = Math.ceil(stretch.members.length / step);
  if (inner.length < Math.max(8, 0.8 * looked)) return null;
  const amplitude = median(inner);
  const widthS = charge / amplitude;
  if (widthS < WIDTH_OVER_APERTURE * (c.apertureS ?? Infinity)) return null;
  const amplitudeU = combine(
    (1.25 * standardDeviation(inner)) / Math.sqrt(inner.length),
    (c.resolution ?? 0) / Math.sqrt(12),
  );
  return { widthS, widthU: (widthS * amplitudeU) / amplitude, amplitude, amplitudeU };
}
