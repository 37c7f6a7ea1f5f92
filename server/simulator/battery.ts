import type { Battery } from '../messages/records.ts';

/** A lead-acid battery as a technician can know it from outside. Volts, ohms, seconds, ampere-hours. */
export interface BatterySpec {
  readonly chemistry: Battery['chemistry'];
  readonly role: Battery['role'];
  readonly capacityAh: number;
  /** Open-circuit voltage at time 0, surface charge apart. */
  readonly restV: number;
  /** Battery, posts and cable together, as a voltmeter at the posts sees a load. */
  readonly sourceResistanceOhm: number;
  /** How much the rest voltage sinks for each ampere-hour drawn. */
  readonly fallVPerAh: number;
  /** Surface charge left by the drive home: each part decays by itself, exponentially. */
  readonly surface: readonly { readonly volts: number; readonly decayS: number }[];
}

/** Rest voltage after `chargeC` coulombs were drawn since time 0. */
export function restVoltage(battery: BatterySpec, chargeC: number): number {
  return battery.restV - (battery.fallVPerAh * chargeC) / 3600;
}

export function surfaceVoltage(battery: BatterySpec, atS: number): number {
  return battery.surface.reduce((sum, s) => sum + s.volts * Math.exp(-atS / s.decayS), 0);
}

/** Mean of the surface charge over a time span, exactly. */
export function meanSurfaceVoltage(battery: BatterySpec, fromS: number, toS: number): number {
  const span = toS - fromS;
  return battery.surface.reduce(
    // expm1, because the span of one reading is tiny beside the decay.
    (sum, s) =>
      sum - (s.volts * s.decayS * Math.exp(-fromS / s.decayS) * Math.expm1(-span / s.decayS)) / span,
    0,
  );
}
