import { combine } from './accuracy.ts';
import type { ZeroCheck } from './input.ts';

/** What the meter showed with nothing to measure, at any time of the recording. */
export interface Zero {
  at(seconds: number): number;
  /** Standard uncertainty of the zero, the checks' own and what it did between them. */
  readonly standardU: number;
}

/**
 * Straight lines between the checks, the nearest one before the first and after the last. Between two checks
 * the zero may have gone another way than straight: half their difference either way, evenly spread
 * (JCGM 100:2008, 4.3.7). Null without a check.
 */
export function zeroOf(checks: readonly ZeroCheck[]): Zero | null {
  if (checks.length === 0) return null;
  const sorted = [...checks].sort((a, b) => a.atS - b.atS);
  const values = sorted.map((c) => c.value);
  const moved = Math.max(...values) - Math.min(...values);
  const own = Math.max(...sorted.map((c) => c.standardUncertainty));
  return {
    standardU: combine(own, moved / 2 / Math.sqrt(3)),
    at(seconds) {
      const next = sorted.findIndex((c) => c.atS > seconds);
      if (next === 0) return values[0]!;
      if (next < 0) return values[values.length - 1]!;
      const [a, b] = [sorted[next - 1]!, sorted[next]!];
      return a.value + ((b.value - a.value) * (seconds - a.atS)) / (b.atS - a.atS);
    },
  };
}

/** Readings with the zero taken off; the readings themselves where there was no check. */
export function withoutZero(t: Float64Array, y: Float64Array, checks: readonly ZeroCheck[]): Float64Array {
  const zero = zeroOf(checks);
  return zero === null ? y : y.map((v, i) => v - zero.at(t[i]!));
}
