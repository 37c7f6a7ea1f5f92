import { DriverError } from '../core/errors.ts';
import { decodeFloat, decodeSfloat, type MedFloat } from '../core/medfloat.ts';
import { nibbleAt, nibbleMask } from './bits.ts';
import type { Bits, ByteOrder, ValueField } from './description.ts';

/**
 * What a value field holds: `digits` x 10^`exponent`, where a float32 has its whole value in `digits`.
 * "over" and "nan" are codes of the number format itself; null is what cannot be a number.
 */
export type RawValue = { readonly digits: number; readonly exponent: number } | 'over' | 'nan' | null;

/** Reads the field from an unmasked frame that is long enough. Never throws. */
export function decodeValue(field: ValueField, frame: Uint8Array): RawValue {
  switch (field.kind) {
    case 'integer':
      return decodeInteger(field, frame);
    case 'bcd': {
      let digits = 0;
      for (const address of field.digits) {
        const digit = nibbleAt(frame, address);
        if (digit > 9) return null;
        digits = digits * 10 + digit;
      }
      return { digits, exponent: 0 };
    }
    case 'text':
      return decodeText(frame, field.at, field.length);
    case 'sfloat':
      return fromMedFloat(() => decodeSfloat(inOrder(frame, field.at, 2, field.order)));
    case 'float':
      return fromMedFloat(() => decodeFloat(inOrder(frame, field.at, 4, field.order)));
    case 'float32': {
      const view = new DataView(frame.buffer, frame.byteOffset + field.at, 4);
      const digits = view.getFloat32(0, field.order === 'little');
      if (Number.isNaN(digits)) return 'nan';
      return Number.isFinite(digits) ? { digits, exponent: 0 } : 'over';
    }
    case 'segments':
      return decodeSegments(field, frame);
  }
}

/** The bits that the field reads. */
export function bitsOf(field: ValueField): Bits {
  const masks = new Map<number, number>();
  const add = (at: number, mask: number) => masks.set(at, (masks.get(at) ?? 0) | mask);
  switch (field.kind) {
    case 'integer':
      for (let i = 0; i < field.octets; i++) add(field.at + i, 0xff);
      break;
    case 'text':
      for (let i = 0; i < field.length; i++) add(field.at + i, 0xff);
      break;
    case 'sfloat':
    case 'float':
    case 'float32':
      for (let i = 0; i < (field.kind === 'sfloat' ? 2 : 4); i++) add(field.at + i, 0xff);
      break;
    case 'bcd':
      for (const address of field.digits) add(address >> 1, nibbleMask(address));
      break;
    case 'segments':
      for (const [high, low] of field.digits) {
        if (field.lit >> 4) add(high >> 1, high % 2 === 0 ? field.lit & 0xf0 : field.lit >> 4);
        if (field.lit & 15) add(low >> 1, low % 2 === 0 ? (field.lit & 15) << 4 : field.lit & 15);
      }
      break;
  }
  return [...masks].map(([at, mask]) => ({ at, mask })).sort((a, b) => a.at - b.at);
}

/** Whether the field itself can say that a value is negative. */
export function isSigned(field: ValueField): boolean {
  switch (field.kind) {
    case 'integer':
      return field.sign !== 'unsigned';
    case 'bcd':
    case 'segments':
      return false;
    case 'text': // a text field without a sign character is read with the sign bit, where there is one
    case 'sfloat':
    case 'float':
    case 'float32':
      return true;
  }
}

/** The first and last codes of a wide integer say "no value" in many meters and never a figure of a display. */
export function isEndCode(field: ValueField, digits: number): boolean {
  if (field.kind !== 'integer' || field.octets === 1) return false;
  const span = 2 ** (8 * field.octets);
  if (field.sign === 'unsigned') return digits === span - 1;
  return digits === span / 2 - 1 || digits === -span / 2 || digits === 1 - span / 2;
}

function decodeInteger(field: Extract<ValueField, { kind: 'integer' }>, frame: Uint8Array): RawValue {
  const { at, octets } = field;
  let raw = 0;
  for (let i = 0; i < octets; i++) {
    raw = raw * 256 + frame[field.order === 'big' ? at + i : at + octets - 1 - i]!;
  }
  const half = 2 ** (8 * octets - 1);
  switch (field.sign) {
    case 'unsigned':
      return { digits: raw, exponent: 0 };
    case 'twos-complement':
      return { digits: raw >= half ? raw - 2 * half : raw, exponent: 0 };
    case 'sign-magnitude':
      return { digits: raw > half ? half - raw : raw % half, exponent: 0 };
    case 'offset-binary':
      return { digits: raw - half, exponent: 0 };
  }
}

const NUMBER = /^ *([+-]?) *(\d+)(?:\.(\d*))? *$/;

function decodeText(frame: Uint8Array, at: number, length: number): RawValue {
  let text = '';
  for (let i = at; i < at + length; i++) text += String.fromCharCode(frame[i]!);
  const match = NUMBER.exec(text);
  if (!match) return null;
  const [, sign, whole, fraction = ''] = match;
  const digits = Number(whole! + fraction);
  return { digits: sign === '-' && digits !== 0 ? -digits : digits, exponent: 0 - fraction.length };
}

function decodeSegments(field: Extract<ValueField, { kind: 'segments' }>, frame: Uint8Array): RawValue {
  let digits = 0;
  let started = false;
  for (const [high, low] of field.digits) {
    const code = ((nibbleAt(frame, high) << 4) | nibbleAt(frame, low)) & field.lit;
    if (code === field.blank && !started) continue;
    const digit = field.codes.findIndex((codes) => codes.includes(code));
    if (digit < 0) return null;
    started = true;
    digits = digits * 10 + digit;
  }
  return started ? { digits, exponent: 0 } : null;
}

function inOrder(frame: Uint8Array, at: number, octets: number, order: ByteOrder): Uint8Array {
  const part = frame.slice(at, at + octets);
  return order === 'little' ? part : part.reverse();
}

function fromMedFloat(decode: () => MedFloat): RawValue {
  let m: MedFloat;
  try {
    m = decode();
  } catch (error) {
    if (error instanceof DriverError) return null;
    throw error;
  }
  if (m.kind === 'number') return { digits: m.mantissa, exponent: m.exponent };
  return m.kind === 'nan' || m.kind === 'nres' ? 'nan' : 'over';
}
