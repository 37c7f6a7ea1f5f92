import { combine } from './accuracy.ts';
import type { Conditioned } from './condition.ts';
import type { FloorOverTime } from './floor.ts';
import type { Pulses } from './pulses.ts';
import { median, standardDeviation } from './statistics.ts';
import type { Stretch } from './trains.ts';

export interface Shape {
  readonly widthS: number;
  readonly widthU: number;
  readonly amplitude: number;
  readonly amplitudeU: number;
}

/** The width is given only where a pulse is this much longer than the aperture. */
const WIDTH_OVER_APERTURE = 1.2;
const LOOKS = 2000;

/**
 * Height from the readings that lie wholly inside a pulse, width from charge over height; null where the
 * readings are too long or too few to lie inside one.
 */
export function pulseShape(
  c: Conditioned,
  pulses: Pulses,
  stretch: Stretch,
  charge: number,
  floor: FloorOverTime,
): Shape | null {
  const inner: number[] = [];
  const step = Math.max(1, Math.floor(stretch.members.length / LOOKS));
  for (let k = 0; k < stretch.members.length; k += step) {
    const i = stretch.members[k]!;
    const ground = floor.at(c.t[pulses.first[i]!]!);
    for (let j = pulses.first[i]! + 1; j < pulses.last[i]!; j++) inner.push(c.y[j]! - ground);
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
