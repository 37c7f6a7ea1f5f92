import type { Quantity } from '../../drivers/core/reading.ts';
import { CSV_RECORD_COLUMN } from '../messages/csvRecord.ts';
import { CsvReason } from './csvError.ts';

/** A unit of time is `times` x 10^`power` milliseconds. */
export interface TimeUnit {
  readonly power: number;
  readonly times: number;
}

/** What a column of the file is, read from its name. */
export type ColumnRole =
  | {
      readonly kind: 'value';
      readonly quantity: Quantity;
      /** Power of ten of the unit's prefix: -3 for mA. */
      readonly shift: number;
    }
  | { readonly kind: 'time'; readonly unit: TimeUnit | null; readonly elapsed: boolean }
  | { readonly kind: 'date' }
  /** Flags of the value column at that place. */
  | { readonly kind: 'flags'; readonly of: number }
  | { readonly kind: 'record' }
  | { readonly kind: 'ignored' };

const WORDS: Readonly<Record<Quantity, readonly string[]>> = {
  current: ['current', 'curr', 'i', 'amperage', 'draw', 'clamp'],
  voltage: ['voltage', 'u'],
  temperature: ['temperature', 'temp'],
};

// NFKC turns the micro sign into the Greek letter.
const UNITS: Readonly<Record<Quantity, Readonly<Record<string, number>>>> = {
  current: {
    ...{ a: 0, adc: 0, amp: 0, amps: 0, ampere: 0, amperes: 0 },
    ...{ ma: -3, madc: -3, milliamp: -3, milliamps: -3, milliampere: -3, milliamperes: -3 },
    ...{ ua: -6, μa: -6, microamps: -6, microamperes: -6, na: -9 },
  },
  voltage: {
    ...{ v: 0, vdc: 0, volt: 0, volts: 0 },
    ...{ mv: -3, mvdc: -3, millivolt: -3, millivolts: -3, uv: -6, μv: -6 },
  },
  temperature: { c: 0, '°c': 0, degc: 0, celsius: 0 },
};

const TIME_WORDS = ['time', 'timestamp', 't', 'elapsed', 'datetime', 'epoch', 'unix', 'runtime', 'stamp'];
const ELAPSED_WORDS = ['elapsed', 'runtime'];
const TIME_UNITS: Readonly<Record<string, TimeUnit>> = Object.fromEntries(
  [
    { names: ['s', 'sec', 'secs', 'second', 'seconds'], power: 3, times: 1 },
    { names: ['ms', 'msec', 'millisecond', 'milliseconds'], power: 0, times: 1 },
    { names: ['us', 'μs', 'microseconds'], power: -3, times: 1 },
    { names: ['ns', 'nanoseconds'], power: -6, times: 1 },
    { names: ['min', 'minute', 'minutes'], power: 3, times: 60 },
    { names: ['h', 'hr', 'hrs', 'hour', 'hours'], power: 3, times: 3600 },
  ].flatMap(({ names, power, times }) => names.map((name) => [name, { power, times }])),
);

/**
 * The roles of a header row's columns.
 * @throws CsvReason where a column names a quantity but no unit that is read here
 */
export function columnRoles(names: readonly string[]): ColumnRole[] {
  const roles = names.map(roleOf);
  names.forEach((name, i) => {
    const base = /^(.+)[ _]flags$/i.exec(name.trim())?.[1];
    const of = names.findIndex((other, j) => other.trim() === base && roles[j]!.kind === 'value');
    if (of >= 0) roles[i] = { kind: 'flags', of };
  });
  return roles;
}

function roleOf(name: string): ColumnRole {
  const words = wordsOf(name);
  if (name.trim().toLowerCase() === CSV_RECORD_COLUMN) return { kind: 'record' };
  if (words.length === 0 || words.includes('flags')) return { kind: 'ignored' };
  if (words.some((w) => ['ac', 'vac', 'aac', 'maac', 'rms'].includes(w))) return { kind: 'ignored' };
  const named = QUANTITIES.filter((q) =>
    words.some((w, i) => WORDS[q].includes(w) && (w.length > 1 || i === 0)),
  );
  for (const quantity of named) {
    const shift = unitIn(words, UNITS[quantity]);
    if (shift !== undefined) return { kind: 'value', quantity, shift };
  }
  if (named.length > 0) throw noUnit(name, named[0]!);
  return timeRole(words) ?? byUnitAlone(words);
}

const QUANTITIES = ['current', 'voltage', 'temperature'] as const;

function timeRole(words: readonly string[]): ColumnRole | null {
  // "T (degC)" is a temperature, not a time.
  if (words[0] === 't' && unitIn(words.slice(1), UNITS.temperature) !== undefined) return null;
  const timed = words.some((w) => TIME_WORDS.includes(w));
  if (!timed && words.includes('date')) return { kind: 'date' };
  const unitOnly = words.length === 1 && (words[0]!.length > 1 || words[0] === 's');
  const unit = timed || unitOnly ? (unitIn(words, TIME_UNITS) ?? null) : null;
  if (!timed && unit === null) return null;
  return { kind: 'time', unit, elapsed: words.some((w) => ELAPSED_WORDS.includes(w)) };
}

/** "mA", "Channel 1 V", "battery_volts": the unit at the end says what is measured. */
function byUnitAlone(words: readonly string[]): ColumnRole {
  const unit = words.at(-1)!;
  // A lone "c" is more often a third channel than a temperature.
  const quantity = QUANTITIES.find(
    (q) => Object.hasOwn(UNITS[q], unit) && (unit !== 'c' || words[0] === 't'),
  );
  return quantity === undefined
    ? { kind: 'ignored' }
    : { kind: 'value', quantity, shift: UNITS[quantity][unit]! };
}

/** Lower-case words: "batteryCurrent [mA DC]" is battery, current, ma. */
function wordsOf(name: string): string[] {
  return name
    .normalize('NFKC')
    .replace(/([a-z]{3})([A-Z])/g, '$1 $2')
    .toLowerCase()
    .split(/[^\p{L}\p{N}°]+/u)
    .filter((word) => word !== '' && word !== 'dc');
}

/** The last word that is one of the units. A word for the quantity itself ("t", "u") is not its unit. */
function unitIn<U>(words: readonly string[], units: Readonly<Record<string, U>>): U | undefined {
  const unit = words.findLast((w) => Object.hasOwn(units, w));
  return unit === undefined ? undefined : units[unit];
}

const EXAMPLE = {
  current: '"current_A" or "current_mA"',
  voltage: '"voltage_V" or "voltage_mV"',
  temperature: '"temperature_degC"',
};

function noUnit(name: string, quantity: Quantity): CsvReason {
  return new CsvReason(
    `column "${name}" names no unit that is read here; name it for example ${EXAMPLE[quantity]}`,
  );
}
