import { DriverError } from '../../core/errors.ts';
import { decodeUnsigned, encodeInteger } from '../../core/integers.ts';
import {
  decodeTimeExponential,
  encodeTimeExponential,
  type TimeExponential,
} from '../../core/timeExponential.ts';
import type { ElectricalField } from './fields.ts';

/** The octets of one characteristic value, before any meaning of car or battery. */
export interface ElectricalValue {
  /** null: the meter said "not known". */
  readonly raw: number | null;
  /** Averaging time where the characteristic carries one, else null. */
  readonly over: TimeExponential | null;
}

/** @throws DriverError wrong-length, bad-field (a raw value beyond the field's range) */
export function decodeElectrical(field: ElectricalField, bytes: Uint8Array): ElectricalValue {
  const expected = field.octets + (field.averaged ? 1 : 0);
  if (bytes.length !== expected) {
    throw new DriverError('wrong-length', `${field.label} has ${expected} octets, not ${bytes.length}.`);
  }
  const raw = decodeUnsigned(bytes, 0, field.octets);
  if (raw !== field.notKnown && raw > field.largest) {
    throw new DriverError('bad-field', `${field.label} holds a value outside its range.`);
  }
  return {
    raw: raw === field.notKnown ? null : raw,
    over: field.averaged ? decodeTimeExponential(bytes[field.octets]!) : null,
  };
}

/** @throws RangeError when the raw value does not fit the field */
export function encodeElectrical(field: ElectricalField, value: ElectricalValue): Uint8Array {
  if (value.raw !== null && value.raw > field.largest) throw new RangeError('outside the range of the field');
  const head = encodeInteger(value.raw ?? field.notKnown, field.octets, false);
  if (!field.averaged) return head;
  const out = new Uint8Array(field.octets + 1);
  out.set(head);
  out[field.octets] = encodeTimeExponential(value.over ?? 'not-known');
  return out;
}
