import { FLAG, type Quantity } from '../core/reading.ts';

/** A unit as a display shows it. `quantity` is null for what no channel of ours records (ohms, hertz, ...). */
export interface ShownUnit {
  readonly quantity: Quantity | null;
  readonly symbol: string;
  /** Power of ten of the prefix: -3 for milli. */
  readonly prefix: number;
}

/** What a display showed at one moment. The figure is `counts` x 10^-`decimals`, negative where `negative`. */
export interface Glance {
  readonly overload: boolean;
  readonly negative: boolean;
  readonly counts: number;
  readonly decimals: number;
  /** Digits shown, leading zeros included: 4 for "0.025". */
  readonly digits: number;
  /** null when no unit was typed. */
  readonly unit: ShownUnit | null;
  /** FLAG.hold, relative, minMax, ac, as the words beside the figure say. */
  readonly flags: number;
}

const PREFIXES: ReadonlyMap<string, number> = new Map([
  ['n', -9],
  ['u', -6],
  ['m', -3],
  ['', 0],
  ['k', 3],
  ['K', 3],
  ['M', 6],
]);

const SYMBOLS: readonly {
  readonly text: string;
  readonly symbol: string;
  readonly quantity: Quantity | null;
}[] = [
  { text: 'V', symbol: 'V', quantity: 'voltage' },
  { text: 'A', symbol: 'A', quantity: 'current' },
  { text: '°C', symbol: '°C', quantity: 'temperature' },
  { text: 'degC', symbol: '°C', quantity: 'temperature' },
  { text: '°F', symbol: '°F', quantity: null },
  { text: 'Ω', symbol: 'Ω', quantity: null },
  { text: 'ohm', symbol: 'Ω', quantity: null },
  { text: 'Ohm', symbol: 'Ω', quantity: null },
  { text: 'Hz', symbol: 'Hz', quantity: null },
  { text: 'F', symbol: 'F', quantity: null },
  { text: 'W', symbol: 'W', quantity: null },
  { text: '%', symbol: '%', quantity: null },
];

const WORDS: ReadonlyMap<string, number> = new Map([
  ['HOLD', FLAG.hold],
  ['H', FLAG.hold],
  ['REL', FLAG.relative],
  ['Δ', FLAG.relative],
  ['MAX', FLAG.minMax],
  ['MIN', FLAG.minMax],
  ['AC', FLAG.ac],
  ['~', FLAG.ac],
  ['DC', 0],
  ['AUTO', 0],
]);

const MOST_DIGITS = 9;

/**
 * Reads typed display text: "12.63 V", "-25,6 mA HOLD", "OL", "0.000", "230.1 V AC".
 * @returns the glance, or a sentence that says what cannot be understood
 */
export function parseDisplay(text: string): Glance | string {
  const clean = text
    .normalize('NFKC') // micro sign and ohm sign to the Greek letters, full-width figures to plain ones
    .replace(/[−–—]/g, '-')
    .replace(/[μµ]/g, 'u')
    .trim();
  const match = /^([+-]?)\s*(0[.,]?L[.,]?|O[.,]?L[.,]?|[\d.,]+)\s*(.*)$/iu.exec(clean);
  if (!match)
    return `"${clean.slice(0, 40)}" is no display reading; type it as shown, for example 12.63 V or OL.`;
  const [, sign, figure, rest] = match as unknown as [string, string, string, string];
  const beside = readWords(rest);
  if (typeof beside === 'string') return beside;
  const negative = sign === '-';
  if (/L/i.test(figure)) return { overload: true, negative, counts: 0, decimals: 0, digits: 0, ...beside };
  const number = /^(\d*)(?:[.,](\d*))?$/.exec(figure);
  const digits = (number?.[1] ?? '') + (number?.[2] ?? '');
  if (!number || digits === '') return `"${figure}" is no number.`;
  if (digits.length > MOST_DIGITS) return `"${figure}" has more than ${MOST_DIGITS} digits.`;
  return {
    overload: false,
    negative,
    counts: Number(digits),
    decimals: number[2]?.length ?? 0,
    digits: digits.length,
    ...beside,
  };
}

function readWords(text: string): { unit: ShownUnit | null; flags: number } | string {
  let unit: ShownUnit | null = null;
  let flags = 0;
  for (const word of text.split(/\s+/).filter((w) => w !== '')) {
    const flag = WORDS.get(word.toUpperCase());
    if (flag !== undefined) {
      flags |= flag;
      continue;
    }
    const found = readUnit(word);
    if (!found) return `"${word}" is neither a unit nor HOLD, REL, MAX, MIN, AC or DC.`;
    if (unit) return `"${text}" names two units.`;
    unit = found.unit;
    flags |= found.flags;
  }
  return { unit, flags };
}

/** "mV", "VAC", "V~", "kΩ"; null when it is no unit. */
function readUnit(word: string): { unit: ShownUnit; flags: number } | null {
  const tail = /^(.+?)(AC|DC|~)$/.exec(word);
  const flags = tail && tail[2] !== 'DC' ? FLAG.ac : 0;
  const name = tail?.[1] ?? word;
  for (const { text, symbol, quantity } of SYMBOLS) {
    if (!name.endsWith(text)) continue;
    const prefix = PREFIXES.get(name.slice(0, name.length - text.length));
    if (prefix === undefined) continue;
    return { unit: { quantity, symbol, prefix }, flags };
  }
  return null;
}

const LETTER: ReadonlyMap<number, string> = new Map([
  [-9, 'n'],
  [-6, 'µ'],
  [-3, 'm'],
  [0, ''],
  [3, 'k'],
  [6, 'M'],
]);

/** "mA", as a technician reads it. */
export function unitText(unit: ShownUnit): string {
  return `${LETTER.get(unit.prefix) ?? ''}${unit.symbol}`;
}

/** Power of ten of the last digit shown, in the unit without prefix. */
export function lastDigit(glance: Glance): number {
  return (glance.unit?.prefix ?? 0) - glance.decimals;
}
