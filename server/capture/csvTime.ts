import { CsvReason } from './csvError.ts';

/** A wall-clock time of a file: whole seconds since 1970 and nanoseconds; `zoned` where the text gave its zone. */
export interface Stamp {
  readonly seconds: number;
  readonly nanos: number;
  readonly zoned: boolean;
}

// ISO 8601, and the same with a blank for the T or slashes in the date, as loggers write it.
const STAMP =
  /^(\d{4})[-/](\d{2})[-/](\d{2})(?:[T ](\d{2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?)?\s?(Z|[+-]\d{2}(?::?\d{2})?)?$/i;
const CLOCK = /^(\d{1,4}):([0-5]\d):([0-5]\d)(?:[.,](\d{1,9}))?$/;

export function isStamp(text: string, needs?: 'with time of day'): boolean {
  const m = STAMP.exec(text);
  return m !== null && (needs === undefined || m[4] !== undefined);
}

export function isClock(text: string): boolean {
  return CLOCK.test(text);
}

/** @throws CsvReason */
export function readStamp(text: string): Stamp {
  const m = STAMP.exec(text);
  if (m === null)
    throw new CsvReason(`"${text.slice(0, 40)}" is not a time in the form 2026-01-31T22:15:00.000Z`);
  const [year = 0, month = 0, day = 0, hour = 0, minute = 0, second = 0] = m
    .slice(1, 7)
    .map((part) => Number(part ?? 0));
  const utc = Date.UTC(year, month - 1, day, hour, minute, second);
  const exists = new Date(utc).getUTCDate() === day && month <= 12 && hour < 24 && minute < 60 && second < 60;
  if (!exists) throw new CsvReason(`there is no such time as "${text}"`);
  return {
    seconds: utc / 1000 - offsetSeconds(m[8]),
    nanos: Number((m[7] ?? '').padEnd(9, '0')),
    zoned: m[8] !== undefined,
  };
}

function offsetSeconds(zone: string | undefined): number {
  if (zone === undefined || zone.length < 3) return 0;
  const hours = Number(zone.slice(1, 3));
  const minutes = Number(zone.slice(3).replace(':', '') || 0);
  return (zone.startsWith('-') ? -60 : 60) * (hours * 60 + minutes);
}

/** "22:15:00.5" as milliseconds since midnight, or an elapsed "31:15:00". @throws CsvReason */
export function readClock(text: string): number {
  const m = CLOCK.exec(text);
  if (m === null) throw new CsvReason(`"${text.slice(0, 40)}" is not a time in the form 22:15:00`);
  const [hours, minutes, seconds] = m.slice(1, 4).map(Number);
  return ((hours! * 60 + minutes!) * 60 + seconds!) * 1000 + Number((m[4] ?? '').padEnd(9, '0')) / 1e6;
}

/** Milliseconds from `a` to `b`; whole nanoseconds up to 104 days apart. */
export function msBetween(a: Stamp, b: Stamp): number {
  return ((b.seconds - a.seconds) * 1e9 + (b.nanos - a.nanos)) / 1e6;
}

/**
 * Reads one stamp after another. The rows of a file nearly always name the same day as the row before, in the
 * form 2026-01-31T22:15:00.125Z: then only the time of day is read, without making a string.
 */
export class StampReader {
  private readonly day = new Uint8Array(10);
  private midnight = NaN;

  /** @throws CsvReason */
  read(bytes: Uint8Array, start: number, end: number): Stamp {
    return this.sameDay(bytes, start, end) ?? this.anyForm(bytes, start, end);
  }

  private sameDay(bytes: Uint8Array, start: number, end: number): Stamp | null {
    if (end - start < 19) return null;
    for (let i = 0; i < 10; i++) if (bytes[start + i] !== this.day[i]) return null;
    const hour = twoDigits(bytes, start + 11);
    const minute = twoDigits(bytes, start + 14);
    const second = twoDigits(bytes, start + 17);
    const marks = bytes[start + 13] === COLON && bytes[start + 16] === COLON;
    if (!(marks && hour < 24 && minute < 60 && second < 60)) return null;
    if (bytes[start + 10] !== LETTER_T && bytes[start + 10] !== SPACE) return null;
    let at = start + 19;
    let nanos = 0;
    if (bytes[at] === POINT) {
      let weight = 1e8;
      while (++at < end && isDigit(bytes[at]!)) {
        nanos += (bytes[at]! - ZERO) * weight;
        weight /= 10;
      }
      if (at - start < 21 || at - start > 29) return null;
    }
    const zoned = bytes[at] === LETTER_Z;
    if (at + (zoned ? 1 : 0) !== end) return null;
    return { seconds: this.midnight + (hour * 60 + minute) * 60 + second, nanos, zoned };
  }

  private anyForm(bytes: Uint8Array, start: number, end: number): Stamp {
    const text = new TextDecoder().decode(bytes.subarray(start, end));
    const stamp = readStamp(text);
    this.midnight = readStamp(text.slice(0, 10)).seconds;
    this.day.set(bytes.subarray(start, start + 10));
    return stamp;
  }
}

const ZERO = 0x30;
const COLON = 0x3a;
const POINT = 0x2e;
const SPACE = 0x20;
const LETTER_T = 0x54;
const LETTER_Z = 0x5a;

function isDigit(byte: number): boolean {
  return byte >= ZERO && byte <= ZERO + 9;
}

/** The number that two digits make, or NaN. */
function twoDigits(bytes: Uint8Array, at: number): number {
  const [tens, ones] = [bytes[at]!, bytes[at + 1]!];
  return isDigit(tens) && isDigit(ones) ? (tens - ZERO) * 10 + ones - ZERO : NaN;
}
