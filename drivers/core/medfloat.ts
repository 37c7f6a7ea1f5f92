import { DriverError } from './errors.ts';
import { decodeSigned, encodeInteger } from './integers.ts';

/**
 * IEEE 11073-20601 floats, which the Bluetooth SIG calls medfloat16 (SFLOAT) and medfloat32 (FLOAT):
 * a two's-complement exponent of ten in the top bits over a two's-complement mantissa.
 */
export type MedFloat =
  | { readonly kind: 'number'; readonly mantissa: number; readonly exponent: number }
  | { readonly kind: 'nan' | 'nres' | '+inf' | '-inf' };

interface Layout {
  readonly octets: number;
  readonly mantissaBits: number;
  readonly exponentBits: number;
}
const SFLOAT: Layout = { octets: 2, mantissaBits: 12, exponentBits: 4 };
const FLOAT: Layout = { octets: 4, mantissaBits: 24, exponentBits: 8 };

/** @throws DriverError wrong-length, bad-field (the reserved code) */
export const decodeSfloat = (bytes: Uint8Array, offset = 0): MedFloat => decode(bytes, offset, SFLOAT);
/** @throws DriverError wrong-length, bad-field (the reserved code) */
export const decodeFloat = (bytes: Uint8Array, offset = 0): MedFloat => decode(bytes, offset, FLOAT);
/** @throws RangeError when mantissa or exponent does not fit */
export const encodeSfloat = (value: MedFloat): Uint8Array => encode(value, SFLOAT);
/** @throws RangeError when mantissa or exponent does not fit */
export const encodeFloat = (value: MedFloat): Uint8Array => encode(value, FLOAT);

function decode(bytes: Uint8Array, offset: number, layout: Layout): MedFloat {
  const raw = decodeSigned(bytes, offset, layout.octets);
  const span = 2 ** layout.mantissaBits;
  const exponent = Math.floor(raw / span);
  const low = raw - exponent * span;
  const mantissa = low >= span / 2 ? low - span : low;
  // The special codes sit around the mantissa's extremes, with exponent 0 (11073-20601, table of special values).
  if (exponent === 0) {
    const top = span / 2 - 1;
    if (mantissa === top) return { kind: 'nan' };
    if (mantissa === top - 1) return { kind: '+inf' };
    if (mantissa === -top - 1) return { kind: 'nres' };
    if (mantissa === -top + 1) return { kind: '-inf' };
    if (mantissa === -top) throw new DriverError('bad-field', 'reserved code of an IEEE 11073 float');
  }
  return { kind: 'number', mantissa, exponent };
}

function encode(value: MedFloat, layout: Layout): Uint8Array {
  const span = 2 ** layout.mantissaBits;
  const top = span / 2 - 1;
  const special = { nan: top, '+inf': top - 1, nres: -top - 1, '-inf': -top + 1 };
  const mantissa = value.kind === 'number' ? value.mantissa : special[value.kind];
  const exponent = value.kind === 'number' ? value.exponent : 0;
  const fits = Number.isInteger(mantissa) && Math.abs(mantissa + 0.5) <= span / 2;
  const reach = 2 ** (layout.exponentBits - 1);
  if (!fits || !Number.isInteger(exponent) || exponent < -reach || exponent >= reach) {
    throw new RangeError('mantissa or exponent does not fit');
  }
  return encodeInteger(exponent * span + ((mantissa + span) % span), layout.octets, true);
}
