import { combine } from '../analysis/accuracy.ts';
import type { Conditioned } from '../analysis/condition.ts';
import { gainUncertainty, roundingOfMean, type MeterErrors } from '../analysis/dc.ts';
import type { AlignedVoltage } from './loadSteps.ts';
import { stepWindows, type StepWindow } from './stepWindow.ts';

/** Source resistance from the car's own load steps: how far the voltage moves when the current does. */
export interface Resistance {
  readonly ohm: number;
  /** Ohms, all told; and the part of it that the two meters' gains give to every step alike. */
  readonly standardU: number;
  readonly gainU: number;
  readonly steps: number;
}

/** A figure that is less sure than this (relative standard uncertainty) is none. */
const MOST_UNSURE = 0.25;
/** Seconds. What disturbs several readings alike, a slow beat of pulses say, shows in their sums over this time. */
const DISTURBED_S = 20;

/**
 * Fits voltage = drift - R load around the steps, with a drift of each window's own and one R for all. R is the ratio of
 * what voltage and load have in common with the load without its pulses (an instrumental variable): pulses that a
 * meter missed between its readings, or saw a moment later than the other, do not pull it, as they would a plain fit.
 *
 * `stepTimes` in seconds, on the current's stamps. Null where the steps carry no figure.
 */
export function sourceResistance(
  current: Conditioned,
  { voltage, apartS }: AlignedVoltage,
  stepTimes: readonly number[],
  currentMeter: MeterErrors,
  voltageMeter: MeterErrors,
): Resistance | null {
  const windows = stepWindows(current, voltage, stepTimes, apartS, currentMeter.noise);
  const least = (voltage.resolution ?? 0) ** 2 / 12;
  const alike = weighted(windows, () => 1);
  const variances = new Map(
    windows.map((w) => [w, Math.max(varianceOf(w, alike), least / w.together, 1e-18)]),
  );
  const variance = (w: StepWindow): number => variances.get(w)!;
  const ohm = weighted(windows, (w) => 1 / variance(w));
  if (!(ohm > 0)) return null;

  const steps = windows.reduce((sum, w) => sum + w.steps, 0);
  const stepA = Math.sqrt(windows.reduce((sum, w) => sum + w.steps * w.stepA ** 2, 0) / steps);
  const levelV = windows[0]!.levelV;
  const spread = Math.min(...windows.map((w) => variance(w) * w.together));
  const voltsRounding = roundingOfMean({ ...voltageMeter, dither: Math.sqrt(Math.max(0, spread - least)) });
  // Either side of a step has its own rounding.
  const rounding = combine(voltsRounding, ohm * roundingOfMean(currentMeter)) * Math.sqrt(2 / steps);
  const gainU = combine(
    (ohm / stepA) * gainUncertainty(stepA, currentMeter),
    levelV === 0 ? 0 : (ohm / levelV) * gainUncertainty(levelV, voltageMeter),
  );
  const standardU = combine(scatter(windows, ohm, variance), rounding / stepA, gainU);
  return standardU < MOST_UNSURE * ohm ? { ohm, standardU, gainU, steps } : null;
}

/**
 * One resistance from two stretches of a recording, each weighted by what it is worth. The meters' gains are the same
 * in both and do not average out; where the two differ by more than the rest allows, they are less sure by as much.
 */
export function joinResistance(a: Resistance | null, b: Resistance | null): Resistance | null {
  if (a === null || b === null) return a ?? b;
  const [ua, ub] = [ownU(a), ownU(b)];
  const [wa, wb] = [1 / ua ** 2, 1 / ub ** 2];
  const weigh = (x: number, y: number): number => (wa * x + wb * y) / (wa + wb);
  const apart = Math.abs(a.ohm - b.ohm) / Math.hypot(ua, ub);
  const gainU = weigh(a.gainU, b.gainU);
  return {
    ohm: weigh(a.ohm, b.ohm),
    standardU: Math.hypot(Math.max(1, apart) / Math.sqrt(wa + wb), gainU),
    gainU,
    steps: a.steps + b.steps,
  };
}

/** What is not the meters' gain. */
function ownU({ ohm, standardU, gainU }: Resistance): number {
  return Math.sqrt(Math.max(standardU ** 2 - gainU ** 2, (1e-6 * ohm) ** 2));
}

function weighted(windows: readonly StepWindow[], weight: (w: StepWindow) => number): number {
  const volts = windows.reduce((sum, w) => sum + weight(w) * w.stairsVolts, 0);
  const load = windows.reduce((sum, w) => sum + weight(w) * w.stairsLoad, 0);
  return -volts / load;
}

/** Of one reading about the fit, volts squared. */
function varianceOf(w: StepWindow, ohm: number): number {
  return w.v.reduce((sum, v, k) => sum + (v + ohm * w.load[k]!) ** 2, 0) / w.freedom;
}

/**
 * Standard uncertainty, ohms, from what the fit leaves: as if it were independent from reading to reading, or as much
 * more as it scatters over longer times or from window to window.
 */
function scatter(windows: readonly StepWindow[], ohm: number, variance: (w: StepWindow) => number): number {
  let [load, independent, disturbed, apart] = [0, 0, 0, 0];
  for (const w of windows) {
    const weight = 1 / variance(w);
    load += weight * w.stairsLoad;
    independent += weight * w.stairsSquares;
    disturbed += weight * w.stairsSquares * wandering(w, ohm, variance(w));
    apart += (weight * (w.stairsVolts + ohm * w.stairsLoad)) ** 2 / (weight * w.stairsSquares);
  }
  const disagreement = windows.length > 1 ? apart / (windows.length - 1) : 1;
  const wider = Math.max(1, disturbed / independent, disagreement);
  return Math.sqrt(independent * wider) / load;
}

/** How many times the scatter of independent readings the sums of what is left over some seconds have: 1 by chance. */
function wandering(w: StepWindow, ohm: number, variance: number): number {
  let [squares, sum, stretches, untilS] = [0, 0, 0, -Infinity];
  w.t.forEach((t, k) => {
    if (t >= untilS) {
      squares += sum * sum;
      stretches++;
      [sum, untilS] = [0, t + DISTURBED_S];
    }
    sum += w.v[k]! + ohm * w.load[k]!;
  });
  // The drift and the stairs have taken their share of what is slow.
  const left = stretches - (w.t.length - w.freedom) - 1;
  if (left < 1) return 1;
  return ((squares + sum * sum) / (w.t.length * variance)) * (stretches / left);
}
