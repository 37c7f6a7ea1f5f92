import { combine } from '../analysis/accuracy.ts';
import { lowerBound, type Conditioned } from '../analysis/condition.ts';
import { gainUncertainty, type MeterErrors } from '../analysis/dc.ts';
import { mean, standardDeviation } from '../analysis/statistics.ts';

/** Source resistance from the car's own load steps: how far the voltage moves when the current does. */

export interface Resistance {
  readonly ohm: number;
  readonly standardU: number;
  readonly steps: number;
}

/** Readings on either side of a step: near enough that the battery has not relaxed, enough to average. */
const SIDE_S = 4;
const LEAST_SIDE = 3;
/** A step counts when the voltage noise leaves at least this much of it standing. */
const LEAST_STEP_A = 0.01;

export function sourceResistance(
  current: Conditioned,
  voltage: Conditioned,
  stepTimes: readonly number[],
  currentMeter: MeterErrors,
  voltageMeter: MeterErrors,
): Resistance | null {
  let products = 0;
  let squares = 0;
  let variance = 0;
  const each: { di: number; dv: number }[] = [];
  for (const at of stepTimes) {
    const i = jump(current, at);
    const v = jump(voltage, at);
    if (i === null || v === null || Math.abs(i.size) < Math.max(LEAST_STEP_A, 4 * i.u)) continue;
    products -= i.size * v.size;
    squares += i.size * i.size;
    variance += (i.size * v.u) ** 2;
    each.push({ di: i.size, dv: v.size });
  }
  if (!(squares > 0)) return null;
  const ohm = products / squares;
  const residual = each.map((s) => s.dv + ohm * s.di);
  const scatter = each.length > 1 ? standardDeviation(residual) / Math.sqrt(squares) : 0;
  const standardU = combine(
    Math.max(Math.sqrt(variance) / squares, scatter),
    gainUncertainty(ohm, currentMeter),
    gainUncertainty(ohm, voltageMeter),
  );
  return ohm > 0 && standardU < 0.5 * ohm ? { ohm, standardU, steps: each.length } : null;
}

/** Mean after minus mean before a moment, leaving out the readings that straddle it. */
function jump(c: Conditioned, at: number): { size: number; u: number } | null {
  const guard = 1.5 * Math.max(c.intervalS ?? 1, c.apertureS ?? 0);
  const side = Math.max(SIDE_S, (LEAST_SIDE + 1) * (c.intervalS ?? 1));
  const before = c.y.subarray(lowerBound(c.t, at - guard - side), lowerBound(c.t, at - guard));
  const after = c.y.subarray(lowerBound(c.t, at + guard), lowerBound(c.t, at + guard + side));
  if (before.length < LEAST_SIDE || after.length < LEAST_SIDE) return null;
  const rounding = (c.resolution ?? 0) / Math.sqrt(12);
  const u = (x: Float64Array): number => Math.max(standardDeviation(x), rounding) / Math.sqrt(x.length);
  return { size: mean(after) - mean(before), u: combine(u(before), u(after), rounding / 2) };
}
