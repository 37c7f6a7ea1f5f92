import { DriverError } from './errors.ts';

/**
 * Little-endian integers of 1 to 8 octets, as Bluetooth uses them. Decoding refuses what a double cannot
 * hold exactly; encoding refuses what does not fit.
 */

/** @throws DriverError wrong-length, bad-field (beyond 2^53) */
export function decodeUnsigned(bytes: Uint8Array, offset: number, octets: number): number {
  if (offset + octets > bytes.length) throw new DriverError('wrong-length', `${octets} octets expected`);
  let value = 0;
  for (let i = octets - 1; i >= 0; i--) value = value * 256 + bytes[offset + i]!;
  if (!Number.isSafeInteger(value))
    throw new DriverError('bad-field', 'an integer beyond 2^53 is no meter reading');
  return value;
}

/** Two's complement. @throws DriverError wrong-length, bad-field (beyond +-2^53) */
export function decodeSigned(bytes: Uint8Array, offset: number, octets: number): number {
  if (offset + octets > bytes.length) throw new DriverError('wrong-length', `${octets} octets expected`);
  // The top octet carries the sign; folding it in first keeps small negative numbers exact at 8 octets.
  let value = (bytes[offset + octets - 1]! << 24) >> 24;
  for (let i = octets - 2; i >= 0; i--) value = value * 256 + bytes[offset + i]!;
  if (!Number.isSafeInteger(value))
    throw new DriverError('bad-field', 'an integer beyond 2^53 is no meter reading');
  return value;
}

/** Mirror of both decoders. @throws RangeError when the value does not fit */
export function encodeInteger(value: number, octets: number, signed: boolean): Uint8Array {
  const low = signed ? -(2 ** (octets * 8 - 1)) : 0;
  const high = signed ? 2 ** (octets * 8 - 1) : 2 ** (octets * 8);
  if (!Number.isSafeInteger(value) || value < low || value >= high) {
    throw new RangeError(`${value} does not fit ${octets} octets`);
  }
  const out = new Uint8Array(octets);
  let rest = value;
  for (let i = 0; i < octets; i++) {
    out[i] = rest - Math.floor(rest / 256) * 256;
    rest = Math.floor(rest / 256);
  }
  return out;
}
