import type { Quantity } from '../../core/reading.ts';

/**
 * The service of a home-made meter: many samples in one notification, with the meter's own time and a packet
 * number. NOTES.md specifies it for whoever builds one. The UUIDs are random (RFC 9562, version 4), made for
 * this purpose; the format of one sample is in the characteristic's own 0x2904 descriptor.
 */
export const PACKED_SERVICE = '8d0c3a52-61f7-4c0e-9f3a-7b1e5d2c4a10';

export const PACKED_CHARACTERISTICS: readonly {
  readonly uuid: string;
  readonly quantity: Quantity;
  readonly label: string;
}[] = [
  { uuid: '8d0c3a53-61f7-4c0e-9f3a-7b1e5d2c4a10', quantity: 'current', label: 'Current' },
  { uuid: '8d0c3a54-61f7-4c0e-9f3a-7b1e5d2c4a10', quantity: 'voltage', label: 'Voltage' },
];

/** Head of a packet: where each field starts, in octets, little-endian. */
export const HEAD = { number: 0, firstTick: 2, ticksApart: 6, samples: 8 } as const;

/** One tick of the meter's clock; a 32-bit count of them wraps after 11.9 h. */
export const TICK_MS = 0.01;
export const TICK_WRAP = 2 ** 32;
export const NUMBER_WRAP = 2 ** 16;
