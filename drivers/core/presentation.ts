import type { ProfiledCharacteristic } from './driver.ts';
import { DriverError } from './errors.ts';
import { decodeSigned, decodeUnsigned, encodeInteger } from './integers.ts';
import { decodeFloat, decodeSfloat, encodeFloat, encodeSfloat, type MedFloat } from './medfloat.ts';
import { FLAG, FLOAT32, FLOAT64, plausible, type Quantity } from './reading.ts';
import { FORMATS, UNITS, type NumberFormat } from './presentationFields.ts';

/** The 7 octets of descriptor 0x2904 (Core Specification, Vol 3, Part G, 3.3.3.5). */
export interface PresentationFormat {
  readonly format: number;
  /** Power of ten; it applies to integer formats only. */
  readonly exponent: number;
  readonly unit: number;
  readonly namespace: number;
  readonly description: number;
}

/** @throws DriverError wrong-length */
export function decodePresentationFormat(bytes: Uint8Array): PresentationFormat {
  if (bytes.length !== 7) throw new DriverError('wrong-length', 'A presentation format has 7 octets.');
  return {
    format: bytes[0]!,
    exponent: decodeSigned(bytes, 1, 1),
    unit: decodeUnsigned(bytes, 2, 2),
    namespace: bytes[4]!,
    description: decodeUnsigned(bytes, 5, 2),
  };
}

export function encodePresentationFormat(f: PresentationFormat): Uint8Array {
  return Uint8Array.from([
    f.format,
    ...encodeInteger(f.exponent, 1, true),
    ...encodeInteger(f.unit, 2, false),
    f.namespace,
    ...encodeInteger(f.description, 2, false),
  ]);
}

/** What a characteristic says of itself, where it is a number in a unit of ours. */
export interface SelfDescription {
  readonly format: PresentationFormat;
  readonly quantity: Quantity;
  readonly label: string;
  readonly octets: number;
  /** Smallest step in the quantity's unit; null for floats. */
  readonly step: number | null;
}

/** null: no descriptor, one that is not a presentation format, or not a number in volts or amperes. */
export function selfDescription(c: ProfiledCharacteristic): SelfDescription | null {
  if (c.presentationFormat?.length !== 7) return null;
  const format = decodePresentationFormat(c.presentationFormat);
  const unit = UNITS.get(format.unit);
  const number = FORMATS.get(format.format);
  if (!unit || !number) return null;
  const step = number.kind === 'integer' ? 10 ** format.exponent : null;
  return { format, ...unit, octets: number.octets, step };
}

/** A number as the characteristic carried it: `counts`, `scale` and flags of a Reading. */
export interface PresentedNumber {
  readonly counts: number;
  readonly scale: number;
  readonly flags: number;
}

/** @throws DriverError unsupported-format, wrong-length, bad-field */
export function decodePresented(f: PresentationFormat, bytes: Uint8Array): PresentedNumber {
  const format = formatOf(f);
  if (bytes.length !== format.octets) {
    throw new DriverError(
      'wrong-length',
      `The value has ${bytes.length} octets; its format says ${format.octets}.`,
    );
  }
  switch (format.kind) {
    case 'integer': {
      const counts = (format.signed ? decodeSigned : decodeUnsigned)(bytes, 0, format.octets);
      return plausible({ counts, scale: f.exponent, flags: 0 });
    }
    case 'float32':
    case 'float64': {
      const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
      const value = format.kind === 'float32' ? view.getFloat32(0, true) : view.getFloat64(0, true);
      const scale = format.kind === 'float32' ? FLOAT32 : FLOAT64;
      if (Number.isFinite(value)) return plausible({ counts: value, scale, flags: 0 });
      return { counts: 0, scale, flags: Number.isNaN(value) ? FLAG.none : FLAG.overload };
    }
    case 'sfloat':
      return fromMedFloat(decodeSfloat(bytes));
    case 'float':
      return fromMedFloat(decodeFloat(bytes));
  }
}

/** Mirror of `decodePresented`. @throws RangeError when the number does not fit the format */
export function encodePresented(f: PresentationFormat, n: PresentedNumber): Uint8Array {
  const format = formatOf(f);
  switch (format.kind) {
    case 'integer':
      if (n.scale !== f.exponent || n.flags !== 0)
        throw new RangeError('an integer format has one exponent and no flags');
      return encodeInteger(n.counts, format.octets, format.signed);
    case 'float32':
    case 'float64': {
      const value = n.flags & FLAG.none ? NaN : n.flags & FLAG.overload ? Infinity : n.counts;
      const view = new DataView(new ArrayBuffer(format.octets));
      if (format.kind === 'float32') view.setFloat32(0, value, true);
      else view.setFloat64(0, value, true);
      return new Uint8Array(view.buffer);
    }
    case 'sfloat':
      return encodeSfloat(toMedFloat(n));
    case 'float':
      return encodeFloat(toMedFloat(n));
  }
}

function formatOf(f: PresentationFormat): NumberFormat {
  const format = FORMATS.get(f.format);
  if (!format)
    throw new DriverError('unsupported-format', `Presentation format ${f.format} is not a number.`);
  return format;
}

function fromMedFloat(m: MedFloat): PresentedNumber {
  if (m.kind === 'number') return plausible({ counts: m.mantissa, scale: m.exponent, flags: 0 });
  const noValue = m.kind === 'nan' || m.kind === 'nres';
  return { counts: m.kind === '-inf' ? -1 : 0, scale: 0, flags: noValue ? FLAG.none : FLAG.overload };
}

function toMedFloat(n: PresentedNumber): MedFloat {
  if (n.flags & FLAG.none) return { kind: 'nan' };
  if (n.flags & FLAG.overload) return { kind: n.counts < 0 ? '-inf' : '+inf' };
  return { kind: 'number', mantissa: n.counts, exponent: n.scale };
}
