import { overlapOf, type Conditioned, type Span } from '../analysis/condition.ts';
import { sortedQuantile } from '../analysis/statistics.ts';

/** Which way the current really flows: a clamp on backwards and a charger both read negative. */

export interface Polarity {
  readonly reversed: boolean;
  /** Stretches in which something charges the battery. */
  readonly charging: readonly Span[];
  readonly chargingShare: number;
  /** Largest charging current seen, positive; null where none was. */
  readonly chargingA: number | null;
}

/** No lead-acid battery rests above this; surface charge falls below it within minutes of the charger's end. */
const CHARGING_V = 13.2;
/** Less than this below zero may be a clamp that was not zeroed. */
const ZERO_ERROR_A = 0.005;
const LOOKS = 4096;
/** Charging shorter than this is a regulator's blip or a reading gone wrong. */
const LEAST_CHARGING_S = 20;

export function polarity(current: Conditioned | null, voltage: Conditioned | null): Polarity {
  const charging = voltage === null ? [] : spansAbove(voltage, CHARGING_V);
  const span = voltage === null ? 0 : (voltage.t[voltage.t.length - 1] ?? 0) - (voltage.t[0] ?? 0);
  const chargingShare = span > 0 ? overlapOf(charging, -Infinity, Infinity) / span : 0;
  if (current === null) return { reversed: false, charging, chargingShare, chargingA: null };
  const looks = sampled(current.y).sort();
  const high = sortedQuantile(looks, 0.9);
  const middle = sortedQuantile(looks, 0.5);
  const low = sortedQuantile(looks, 0.01);
  const least = Math.max(ZERO_ERROR_A, 2 * (current.resolution ?? 0));
  const allNegative = high < 0 && middle < -least;
  const reversed = allNegative && chargingShare < 0.2;
  const chargingA = !reversed && low < -4 * least ? -low : null;
  return { reversed, charging, chargingShare, chargingA };
}

function sampled(y: Float64Array): Float64Array {
  const step = Math.max(1, Math.floor(y.length / LOOKS));
  return Float64Array.from({ length: Math.ceil(y.length / step) }, (_, i) => y[i * step]!);
}

function spansAbove(c: Conditioned, level: number): Span[] {
  const out: Span[] = [];
  let start = -1;
  for (let i = 0; i <= c.y.length; i++) {
    const above = i < c.y.length && c.y[i]! > level;
    if (above && start < 0) start = i;
    if (above || start < 0) continue;
    if (c.t[i - 1]! - c.t[start]! >= LEAST_CHARGING_S) out.push({ startS: c.t[start]!, endS: c.t[i - 1]! });
    start = -1;
  }
  return out;
}
