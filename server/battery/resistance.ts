import { combine } from '../analysis/accuracy.ts';
import { lowerBound, type Conditioned } from '../analysis/condition.ts';
import { gainUncertainty, type MeterErrors } from '../analysis/dc.ts';
import { fitLine, mean, standardDeviation } from '../analysis/statistics.ts';

/** Source resistance from the car's own load steps: how far the voltage moves when the current does. */

export interface Resistance {
  readonly ohm: number;
  readonly standardU: number;
  readonly steps: number;
}

/** Readings on either side of a step: near enough that the battery has not relaxed, enough to average. */
const SIDE_S = 6;
/** Readings that show where the voltage was drifting anyway. */
const TREND_S = 40;
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

/** How far the readings jump at a moment, with the slope of their surroundings (a decay, say) taken out. */
function jump(c: Conditioned, at: number): { size: number; u: number } | null {
  const guard = 1.5 * Math.max(c.intervalS ?? 1, c.apertureS ?? 0);
  const side = Math.max(SIDE_S, (LEAST_SIDE + 1) * (c.intervalS ?? 1));
  const before = slice(c, at - guard - side, at - guard);
  const after = slice(c, at + guard, at + guard + side);
  if (before.y.length < LEAST_SIDE || after.y.length < LEAST_SIDE) return null;
  const slope =
    (slopeOf(slice(c, at - guard - TREND_S, at - guard)) +
      slopeOf(slice(c, at + guard, at + guard + TREND_S))) /
    2;
  const rounding = (c.resolution ?? 0) / Math.sqrt(12);
  const u = (x: Float64Array): number => Math.max(standardDeviation(x), rounding) / Math.sqrt(x.length);
  const size = mean(after.y) - mean(before.y) - slope * (mean(after.t) - mean(before.t));
  return { size, u: combine(u(before.y), u(after.y)) };
}

interface Slice {
  readonly t: Float64Array;
  readonly y: Float64Array;
}

function slice(c: Conditioned, fromS: number, toS: number): Slice {
  const a = lowerBound(c.t, fromS);
  const b = lowerBound(c.t, toS);
  return { t: c.t.subarray(a, b), y: c.y.subarray(a, b) };
}

/** The slope, where it stands out of its own error; else none, so that noise is not extrapolated. */
function slopeOf(s: Slice): number {
  const fit = fitLine(s.t, s.y);
  return fit !== null && Math.abs(fit.slope) > 2 * fit.slopeError ? fit.slope : 0;
}
