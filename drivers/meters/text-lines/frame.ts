import { DriverError } from '../../core/errors.ts';
import type { Quantity } from '../../core/reading.ts';

/**
 * A number as IEEE 488.2 writes it (NR1 integer 8.7.2, NR2 with a point 8.7.3, NR3 with an exponent 8.7.4),
 * with the digits kept: "+1.2630E+01" is 12630 and -3.
 */
export interface LineNumber {
  readonly counts: number;
  readonly scale: number;
}

/** One line: number, unit where it names one, and words of state. */
export interface MeterLine {
  readonly number: LineNumber | 'no-reading' | 'over-range';
  readonly quantity: Quantity | 'other' | null;
  readonly words: readonly string[];
}

const NUMBER = /^([+-]?)(\d*)(?:\.(\d*))?(?:[eE]([+-]?\d{1,3}))?/;
const UNIT = /^(n|u|\u00b5|\u03bc|m|k|M)?(V|A|Ohm|\u03a9|\u2126|Hz|F|%|W)(DC|AC)?$/;
const PREFIX: Readonly<Record<string, number>> = {
  n: -9,
  u: -6,
  '\u00b5': -6,
  '\u03bc': -6,
  m: -3,
  k: 3,
  M: 6,
};
/** Words beside a figure, as displays print them. */
const STATES = new Set(['DC', 'AC', 'AUTO', 'HOLD', 'REL', 'MAX', 'MIN', 'LOWBAT']);
const MAX_DIGITS = 15;

/** SCPI writes "not a number" as 9.91E37 and infinities as 9.9E37 (SCPI-99, 7.2.1). */
const NOT_A_NUMBER = /^[+-]?9\.910*E\+?37$/i;
const INFINITE = /^[+-]?9\.90*E\+?37$/i;
const OVER = /^[+-]?(OL|0L|OVLD?|OVERLOAD|INF)$/i;

/** @throws DriverError bad-field when the text is no number, or has more digits than a meter */
export function decodeNumber(text: string): LineNumber {
  const match = NUMBER.exec(text);
  const [whole, sign = '', before = '', after = '', exponent = '0'] = match ?? [];
  const digits = before + after;
  if (!match || whole !== text || digits === '')
    throw new DriverError('bad-field', 'The line holds no number.');
  if (digits.replace(/^0+/, '').length > MAX_DIGITS)
    throw new DriverError('bad-field', 'More digits than a meter has.');
  const scale = Number(exponent) - after.length;
  if (Math.abs(scale) > 99) throw new DriverError('bad-field', 'The exponent is beyond any meter.');
  const value = Number(digits);
  return { counts: sign === '-' && value !== 0 ? -value : value, scale };
}

/** Mirror of `decodeNumber`, in NR3. */
export function encodeNumber({ counts, scale }: LineNumber): string {
  return `${counts < 0 ? '-' : '+'}${Math.abs(counts)}E${scale < 0 ? '-' : '+'}${String(Math.abs(scale)).padStart(2, '0')}`;
}

/** Reads "12.63 V", "-25.6mA DC", "+1.2630E+01", "OL V". @throws DriverError bad-field */
export function decodeLine(line: string): MeterLine {
  const words = line.trim().split(/\s+/);
  let first = words.shift() ?? '';
  let quantity: MeterLine['quantity'] = null;
  let prefix = 0;
  const rest: string[] = [];
  // A unit may stick to its number: "12.63V".
  const stuck = /^([+-]?[\d.]+(?:[eE][+-]?\d+)?)(\D+)$/.exec(first);
  if (stuck) {
    first = stuck[1]!;
    words.unshift(stuck[2]!);
  }
  for (const word of words) {
    const unit = UNIT.exec(word);
    if (!unit) {
      if (!STATES.has(word.toUpperCase()))
        throw new DriverError('bad-field', 'The line holds a word that is no unit.');
      rest.push(word.toUpperCase());
      continue;
    }
    if (quantity !== null) throw new DriverError('bad-field', 'The line names two units.');
    quantity = unit[2] === 'V' ? 'voltage' : unit[2] === 'A' ? 'current' : 'other';
    prefix = PREFIX[unit[1] ?? ''] ?? 0;
    if (unit[3]) rest.push(unit[3]);
  }
  if (NOT_A_NUMBER.test(first)) return { number: 'no-reading', quantity, words: rest };
  if (INFINITE.test(first) || OVER.test(first)) return { number: 'over-range', quantity, words: rest };
  const number = decodeNumber(first);
  return { number: { counts: number.counts, scale: number.scale + prefix }, quantity, words: rest };
}
