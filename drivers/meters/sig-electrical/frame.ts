import { DriverError } from '../../core/errors.ts';
import { decodeUnsigned, encodeInteger } from '../../core/integers.ts';
import {
  decodeTimeExponential,
  encodeTimeExponential,
  type TimeExponential,
} from '../../core/timeExponential.ts';
import type { ElectricalField } from './fields.ts';

/** The octets of one characteristic value, before any meaning of car or battery. null is "not known". */
export interface ElectricalValue {
  readonly raw: number | null;
  /** Averaging time where the characteristic carries one, else null. */
  readonly over: TimeExponential | null;
  readonly statistics: Statistics | null;
}

export interface Statistics {
  readonly deviation: number | null;
  readonly least: number | null;
  readonly most: number | null;
}

/** @throws DriverError wrong-length, bad-field (a raw value beyond the field's range) */
export function decodeElectrical(field: ElectricalField, bytes: Uint8Array): ElectricalValue {
  const values = field.layout === 'statistics' ? 4 : 1;
  const timeAt = values * field.octets;
  const expected = timeAt + (field.layout === 'alone' ? 0 : 1);
  if (bytes.length !== expected) {
    throw new DriverError('wrong-length', `${field.label} has ${expected} octets, not ${bytes.length}.`);
  }
  const value = (at: number): number | null => {
    const raw = decodeUnsigned(bytes, at * field.octets, field.octets);
    if (raw !== field.notKnown && raw > field.largest) {
      throw new DriverError('bad-field', `${field.label} holds a value outside its range.`);
    }
    return raw === field.notKnown ? null : raw;
  };
  return {
    raw: value(0),
    over: field.layout === 'alone' ? null : decodeTimeExponential(bytes[timeAt]!),
    statistics:
      field.layout === 'statistics' ? { deviation: value(1), least: value(2), most: value(3) } : null,
  };
}

/** Mirror of `decodeElectrical`. @throws RangeError when a raw value does not fit the field */
export function encodeElectrical(field: ElectricalField, value: ElectricalValue): Uint8Array {
  const octets = (raw: number | null): number[] => {
    if (raw !== null && raw > field.largest) throw new RangeError('outside the range of the field');
    return [...encodeInteger(raw ?? field.notKnown, field.octets, false)];
  };
  const { deviation, least, most } = value.statistics ?? { deviation: null, least: null, most: null };
  return Uint8Array.from([
    ...octets(value.raw),
    ...(field.layout === 'statistics' ? [deviation, least, most].flatMap(octets) : []),
    ...(field.layout === 'alone' ? [] : [encodeTimeExponential(value.over ?? 'not-known')]),
  ]);
}
