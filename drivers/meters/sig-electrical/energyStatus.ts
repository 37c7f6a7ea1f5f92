import { DriverError } from '../../core/errors.ts';
import { decodeSfloat, encodeSfloat, type MedFloat } from '../../core/medfloat.ts';
import { FLAG, plausible, type Reading } from '../../core/reading.ts';

/**
 * Battery Energy Status (GATT Specification Supplement): an octet of flags, and for each flag that is set,
 * in this order, one medfloat16.
 */
export const ENERGY_STATUS = 0x2bf0;
export const ENERGY_FIELDS = [
  'externalPower', // W
  'presentVoltage', // V
  'availableEnergy', // kWh
  'capacity', // kWh
  'chargeRate', // W, negative while discharging
  'energyAtLastCharge', // kWh
] as const;
export type EnergyField = (typeof ENERGY_FIELDS)[number];
export type EnergyStatus = Partial<Readonly<Record<EnergyField, MedFloat>>>;

/** @throws DriverError wrong-length, bad-field (reserved flags or float codes) */
export function decodeEnergyStatus(bytes: Uint8Array): EnergyStatus {
  const flags = bytes[0];
  if (flags === undefined) throw new DriverError('wrong-length', 'The energy status is empty.');
  if (flags >> ENERGY_FIELDS.length !== 0) {
    throw new DriverError('bad-field', 'The energy status sets a flag that means nothing.');
  }
  const present = ENERGY_FIELDS.filter((_, bit) => flags & (1 << bit));
  const expected = 1 + 2 * present.length;
  if (bytes.length !== expected) {
    throw new DriverError('wrong-length', `The energy status has ${expected} octets, not ${bytes.length}.`);
  }
  return Object.fromEntries(present.map((name, i) => [name, decodeSfloat(bytes, 1 + 2 * i)]));
}

/** Mirror of `decodeEnergyStatus`. @throws RangeError when a number does not fit a medfloat16 */
export function encodeEnergyStatus(status: EnergyStatus): Uint8Array {
  const present = ENERGY_FIELDS.filter((name) => status[name] !== undefined);
  const flags = ENERGY_FIELDS.reduce((sum, name, bit) => sum | (status[name] ? 1 << bit : 0), 0);
  return Uint8Array.from([flags, ...present.flatMap((name) => [...encodeSfloat(status[name]!)])]);
}

/** The present voltage as a reading; none where the meter left it out. */
export function presentVoltage({ presentVoltage: volts }: EnergyStatus): Reading | null {
  if (volts === undefined) return null;
  if (volts.kind === 'number') {
    const { mantissa: counts, exponent: scale } = volts;
    return { quantity: 'voltage', ...plausible({ counts, scale }), flags: 0 };
  }
  const flags = volts.kind === 'nan' || volts.kind === 'nres' ? FLAG.none : FLAG.overload;
  return { quantity: 'voltage', counts: 0, scale: 0, flags };
}
