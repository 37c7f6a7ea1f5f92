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
