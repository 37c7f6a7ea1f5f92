import type { Conditioned } from './condition.ts';
import type { Excursions } from './excursions.ts';

/** Stage 7: what is longer than a polling pulse, after sleep, is a wake-up. */

/** Published polling pulses last milliseconds and their exchange under half a second; wake-ups last seconds. */
export const LONGEST_PULSE_S = 2.5;

export interface Raised {
  readonly first: number;
  readonly last: number;
  readonly startS: number;
  readonly durationS: number;
  readonly peak: number;
  /** Charge above the floor, coulombs, pulses that ride on it included. */
  readonly charge: number;
}

export function isPulse(c: Conditioned, x: Excursions, i: number): boolean {
  const span = c.t[x.last[i]!]! - c.t[x.first[i]!]!;
  return span <= Math.max(LONGEST_PULSE_S, 1.5 * (c.intervalS ?? 0));
}

/** Joins long excursions that only a reading or a moment parts, and measures each. */
export function measureRaised(
  c: Conditioned,
  x: Excursions,
  floorAt: (sample: number) => number,
  fromSample: number,
): Raised[] {
  const interval = c.intervalS ?? 0;
  const spans: { first: number; last: number }[] = [];
  for (let i = 0; i < x.count; i++) {
    if (isPulse(c, x, i) || x.first[i]! < fromSample) continue;
    const before = spans[spans.length - 1];
    const pause = before === undefined ? Infinity : c.t[x.first[i]!]! - c.t[before.last]!;
    if (before !== undefined && pause <= Math.max(4 * interval, 1)) before.last = x.last[i]!;
    else spans.push({ first: x.first[i]!, last: x.last[i]! });
  }
  return spans.map((s) => measure(c, s.first, s.last, floorAt));
}

function measure(c: Conditioned, first: number, last: number, floorAt: (i: number) => number): Raised {
  const { t, y } = c;
  const interval = c.intervalS ?? 0;
  let charge = 0;
  let peak = 0;
  for (let i = first; i <= last; i++) {
    const e = y[i]! - floorAt(i);
    const dt = i === first ? interval : t[i]! - t[i - 1]!;
    charge += e * dt;
    peak = Math.max(peak, e);
  }
  const edge = (i: number, inner: number): number =>
    Math.min(1, Math.max(0, (y[i]! - floorAt(i)) / Math.max(y[inner]! - floorAt(inner), 1e-12)));
  const inside = Math.min(last, first + 1);
  const startS = t[first]! - interval * edge(first, inside);
  const endS = t[last]! - interval * (1 - edge(last, Math.max(first, last - 1)));
  // Whatever of it fell into the readings on either side.
  for (const k of [first - 1, last + 1]) {
    if (k < 0 || k >= y.length) continue;
    if (Math.abs(t[k]! - t[k < first ? first : last]!) <= 8 * interval)
      charge += (y[k]! - floorAt(k)) * interval;
  }
  return { first, last, startS, durationS: Math.max(0, endS - startS), peak, charge };
}
