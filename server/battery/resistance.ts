import { combine } from '../analysis/accuracy.ts';
import { lowerBound, type Conditioned } from '../analysis/condition.ts';
import { gainUncertainty, type MeterErrors } from '../analysis/dc.ts';
import { fitLine, quantile } from '../analysis/statistics.ts';

/** Source resistance from the car's own load steps: how far the voltage moves when the current does. */

export interface Resistance {
  readonly ohm: number;
  readonly standardU: number;
  readonly steps: number;
}

/** Readings on either side of a step: near enough that the battery's own drift is a straight line. */
const SIDE_S = 30;
const LEAST_READINGS = 3;
/** A smaller step says nothing beside the polling. */
const LEAST_STEP_A = 0.01;
/** A voltage reading counts where the current around it keeps still: most of its readings within so much of the step. */
const STILL_SHARE = 0.7;
const STILL_STEP = 0.1;

/**
 * Fits voltage = a + b t - R i around each step, with a and b of each step's own and one R for all.
 * `stepTimes` in seconds; null where the steps carry no figure.
 */
export function sourceResistance(
  current: Conditioned,
  voltage: Conditioned,
  stepTimes: readonly number[],
  currentMeter: MeterErrors,
  voltageMeter: MeterErrors,
): Resistance | null {
  let products = 0;
  let squares = 0;
  let residuals = 0;
  let freedom = -1;
  let steps = 0;
  const fits: { readonly i: Float64Array; readonly v: Float64Array }[] = [];
  const times = [...stepTimes].sort((a, b) => a - b);
  for (const at of times) {
    const pairs = pairsAround(current, voltage, at);
    if (pairs === null) continue;
    const i = detrended(pairs.t, pairs.i);
    const v = detrended(pairs.t, pairs.v);
    for (const [k, x] of i.entries()) {
      products -= x * v[k]!;
      squares += x * x;
    }
    fits.push({ i, v });
    freedom += i.length - 2;
    steps++;
  }
  if (!(squares > 0) || freedom < 1) return null;
  const ohm = products / squares;
  for (const { i, v } of fits) for (const [k, x] of i.entries()) residuals += (v[k]! + ohm * x) ** 2;
  const rounding = (voltage.resolution ?? 0) / Math.sqrt(12);
  const noise = Math.max(Math.sqrt(residuals / freedom), rounding);
  const standardU = combine(
    noise / Math.sqrt(squares),
    gainUncertainty(ohm, currentMeter),
    gainUncertainty(ohm, voltageMeter),
  );
  return ohm > 0 && standardU < 0.5 * ohm ? { ohm, standardU, steps } : null;
}

interface Pairs {
  readonly t: Float64Array;
  readonly v: Float64Array;
  readonly i: Float64Array;
}

/** Voltage readings on both sides of a step, each with the current that flowed around it. */
function pairsAround(current: Conditioned, voltage: Conditioned, at: number): Pairs | null {
  const reach = 1.5 * Math.max(current.intervalS ?? 1, current.apertureS ?? 0, voltage.apertureS ?? 0);
  const side = Math.max(SIDE_S, (LEAST_READINGS + 2) * (voltage.intervalS ?? 1));
  const [from, to] = [lowerBound(voltage.t, at - side), lowerBound(voltage.t, at + side)];
  const around = current.y.subarray(lowerBound(current.t, at - side), lowerBound(current.t, at + side));
  const step = Math.abs(quantile(around, 0.9) - quantile(around, 0.1));
  if (!(step >= LEAST_STEP_A)) return null;
  const t: number[] = [];
  const v: number[] = [];
  const i: number[] = [];
  let before = 0;
  for (let k = from; k < to; k++) {
    const tv = voltage.t[k]!;
    const amps = stillCurrent(current, tv - reach, tv + reach, STILL_STEP * step);
    if (amps === null) continue;
    t.push(tv - at);
    v.push(voltage.y[k]!);
    i.push(amps);
    if (tv < at) before++;
  }
  if (before < LEAST_READINGS || t.length - before < LEAST_READINGS) return null;
  return { t: Float64Array.from(t), v: Float64Array.from(v), i: Float64Array.from(i) };
}

/** The current over a short span, where most of its readings agree; pulses of a search are few and stand aside. */
function stillCurrent(c: Conditioned, fromS: number, toS: number, within: number): number | null {
  const y = c.y.subarray(lowerBound(c.t, fromS), lowerBound(c.t, toS));
  if (y.length === 0) return null;
  const middle = quantile(y, 0.5);
  let near = 0;
  for (const x of y) if (Math.abs(x - middle) <= within) near++;
  return near >= STILL_SHARE * y.length ? middle : null;
}

function detrended(t: Float64Array, y: Float64Array): Float64Array {
  const fit = fitLine(t, y);
  const { intercept, slope } = fit ?? { intercept: 0, slope: 0 };
  return y.map((x, k) => x - intercept - slope * t[k]!);
}
