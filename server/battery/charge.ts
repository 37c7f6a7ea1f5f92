import { combine, figure, type Figure } from '../analysis/accuracy.ts';
import { rivalsOf, stateOfChargeAt, tableFor, voltageAt, type Chemistry } from './tables.ts';

/** State of charge from rest voltage, and how long it lasts at the draw that was measured. */

/**
 * No published standard names a voltage at which passive entry becomes unreliable. The default is the rest
 * voltage at which the table in use gives 40 %, the figure below which published engine-off load shedding
 * starts; module supplies are then still above the 9 V that ISO 16750-2 code C asks for, but dips are not far
 * from it. The technician edits it, or measures this car's own.
 */
export const UNRELIABLE_CHARGE = 0.4;

export function defaultThresholdV(chemistry: Chemistry | undefined): number {
  return Math.round(voltageAt(tableFor(chemistry), UNRELIABLE_CHARGE) * 100) / 100;
}

/** Tables are printed for about 25 degC; sources disagree even about the sign of a correction. */
const TABLE_C = 25;
/** Volts per kelvin of a 12 V battery by thermodynamics (from memory): a width, not a correction. */
const VOLTS_PER_KELVIN = 1.5e-3;
/** Where nobody gave a temperature, a garage between 5 and 45 degC is supposed. */
const UNKNOWN_SPREAD_K = 20;

/**
 * State of charge 0..1. Uncertainty: the voltage's, the temperature's as a width, and the disagreement of the
 * tables that could apply, taken as a rectangular distribution over their spread.
 */
export function stateOfCharge(
  restV: number,
  restU: number,
  chemistry: Chemistry | undefined,
  temperatureC: number | undefined,
): Figure | null {
  const table = tableFor(chemistry);
  const value = stateOfChargeAt(table, restV);
  const off = temperatureC === undefined ? UNKNOWN_SPREAD_K : Math.abs(temperatureC - TABLE_C);
  const volts = combine(restU, (VOLTS_PER_KELVIN * off) / Math.sqrt(3));
  const slope = (stateOfChargeAt(table, restV + 0.02) - stateOfChargeAt(table, restV - 0.02)) / 0.04;
  const widest = Math.max(...rivalsOf(chemistry).map((t) => Math.abs(stateOfChargeAt(t, restV) - value)));
  // Enhanced flooded batteries have no table of their own, so the flooded one is trusted less.
  const foreign = chemistry === 'efb' ? 1.5 : 1;
  return figure(value, Math.max(slope, 0.5) * volts, (foreign * widest) / Math.sqrt(3));
}

/** Published self-discharge runs from about 0.1 % to 1 % a day. */
const SELF_DISCHARGE_PER_DAY = 0.005;
const SELF_DISCHARGE_U = 0.005 / Math.sqrt(3);

/** Days until the state of charge at `threshold` (with its standard uncertainty) is reached; null where draw or charge say never. */
export function daysUntil(
  charge: Figure,
  threshold: { readonly v: number; readonly u: number },
  averageA: Figure,
  capacityAh: number,
  chemistry: Chemistry | undefined,
): Figure | null {
  const at = (v: number): number => stateOfChargeAt(tableFor(chemistry), v);
  const usable = charge.value - at(threshold.v);
  const usableU = combine(
    charge.expandedUncertainty / 2,
    (at(threshold.v + threshold.u) - at(threshold.v - threshold.u)) / 2,
  );
  const perDay = (averageA.value * 24) / capacityAh + SELF_DISCHARGE_PER_DAY;
  if (!(perDay > 0)) return null;
  const days = Math.max(0, usable) / perDay;
  const perDayU = combine((averageA.expandedUncertainty / 2) * (24 / capacityAh), SELF_DISCHARGE_U);
  return figure(days, usableU / perDay, (days * perDayU) / perDay);
}
