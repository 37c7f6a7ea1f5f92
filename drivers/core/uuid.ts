import { DriverError } from './errors.ts';

/** A Bluetooth UUID in its one canonical form: 128 bits, lower case, with dashes. */
export type Uuid = string;

// Bluetooth Core Specification, Vol 3, Part B, 2.5.1: the base of all 16- and 32-bit UUIDs.
const BASE = '-0000-1000-8000-00805f9b34fb';

/** The canonical form of a 16-bit UUID as the SIG assigns them. */
export function uuid16(short: number): Uuid {
  return short.toString(16).padStart(8, '0') + BASE;
}

/** The 16-bit number of a SIG UUID, or null when it is not one. */
export function shortOf(uuid: Uuid): number | null {
  return uuid.startsWith('0000') && uuid.endsWith(BASE) ? parseInt(uuid.slice(4, 8), 16) : null;
}

/**
 * Brings the forms that radio libraries use (no dashes, leading zeros lost, upper case) to the canonical one.
 * @throws DriverError bad-field when the text is no UUID.
 */
export function canonicalUuid(text: string): Uuid {
  const hex = text.toLowerCase().replaceAll('-', '').replace(/^0x/, '');
  if (!/^[0-9a-f]{1,32}$/.test(hex) || (hex.length > 8 && hex.length !== 32)) {
    throw new DriverError('bad-field', `not a Bluetooth UUID: ${text.slice(0, 60)}`);
  }
  if (hex.length <= 8) return hex.padStart(8, '0') + BASE;
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-');
}
