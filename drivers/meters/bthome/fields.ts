import type { Quantity } from '../../core/reading.ts';
import { uuid16 } from '../../core/uuid.ts';

/**
 * BTHome version 2 (bthome.io, format description): the objects that can stand in a packet. All integers
 * are little-endian.
 */
export const BTHOME_SERVICE = uuid16(0xfcd2);

/** The device-information octet: bit 0 encrypted, bit 2 sent on a trigger, bits 5 to 7 the version. */
export const DEVICE_INFO = { encrypted: 0x01, versionShift: 5, version: 2 } as const;

/** Behind the ciphertext of an encrypted packet. */
export const ENCRYPTED_TAIL = { counter: 4, mic: 4 } as const;

/** A value is raw x `multiplier` x 10^`scale`. */
export interface MeasuredObject {
  readonly id: number;
  readonly quantity: Quantity;
  readonly label: string;
  readonly octets: number;
  readonly signed: boolean;
  readonly multiplier: number;
  readonly scale: number;
}

const one = { multiplier: 1 } as const;
export const MEASURED: readonly MeasuredObject[] = [
  { id: 0x0c, quantity: 'voltage', label: 'Voltage', octets: 2, signed: false, ...one, scale: -3 },
  { id: 0x4a, quantity: 'voltage', label: 'Voltage', octets: 2, signed: false, ...one, scale: -1 },
  { id: 0x43, quantity: 'current', label: 'Current (no sign)', octets: 2, signed: false, ...one, scale: -3 },
  { id: 0x5d, quantity: 'current', label: 'Current', octets: 2, signed: true, ...one, scale: -3 },
  { id: 0x02, quantity: 'temperature', label: 'Temperature', octets: 2, signed: true, ...one, scale: -2 },
  { id: 0x45, quantity: 'temperature', label: 'Temperature', octets: 2, signed: true, ...one, scale: -1 },
  { id: 0x57, quantity: 'temperature', label: 'Temperature', octets: 1, signed: true, ...one, scale: 0 },
  {
    id: 0x58,
    quantity: 'temperature',
    label: 'Temperature',
    octets: 1,
    signed: true,
    multiplier: 35,
    scale: -2,
  },
];

/** Objects that say something of the sender rather than of the car. */
export const PACKET_ID = 0x00;
export const CELL_PERCENT = 0x01;
export const CELL_LOW = 0x15;
export const FIRMWARE = [0xf1, 0xf2] as const;

/** Objects whose first octet says how many follow: text and raw. */
export const OF_OWN_LENGTH: ReadonlySet<number> = new Set([0x53, 0x54]);

/** Octets of every other object: those without a use here have to be stepped over. */
export const OCTETS: ReadonlyMap<number, number> = new Map([
  ...ids(1, [0x00, 0x01, 0x09, 0x2e, 0x2f, 0x3a, 0x46, 0x57, 0x58, 0x59, 0x60, 0x64]),
  ...ids(1, [0x0f, 0x10, 0x11, ...range(0x15, 0x2d)]), // yes or no
  ...ids(2, [0x02, 0x03, 0x06, 0x07, 0x08, 0x0c, 0x0d, 0x0e, 0x12, 0x13, 0x14, 0x3c, 0x3d, 0x3f]),
  ...ids(2, [0x40, 0x41, 0x43, 0x44, 0x45, 0x47, 0x48, 0x49, 0x4a, 0x51, 0x52, 0x56, 0x5a, 0x5d]),
  ...ids(2, [0x5e, 0x5f, 0x61, 0xf0]),
  ...ids(3, [0x04, 0x05, 0x0a, 0x0b, 0x42, 0x4b, 0xf2]),
  ...ids(4, [0x3e, 0x4c, 0x4d, 0x4e, 0x4f, 0x50, 0x55, 0x5b, 0x5c, 0x62, 0x63, 0xf1]),
]);

function ids(octets: number, list: readonly number[]): [number, number][] {
  return list.map((id) => [id, octets]);
}

function range(first: number, last: number): number[] {
  return Array.from({ length: last - first + 1 }, (_, i) => first + i);
}
