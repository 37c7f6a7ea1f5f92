import { FLAG, FLOAT32, FLOAT64, isLive, textOf } from '../../drivers/core/reading.ts';

/**
 * What a sample is besides its digits, as words in a cell of its own: "meterCellLow", "hold 12.630", "float32".
 * A value that is not live stands in that cell and not among the live ones, so that nobody averages it by mistake.
 */
const NAMES = Object.entries(FLAG);
const KNOWN = NAMES.reduce((all, [, bit]) => all | bit, 0);
const FLOATS: Readonly<Record<string, number>> = { float32: FLOAT32, float64: FLOAT64 };

export interface FlagWords {
  readonly flags: number;
  /** FLOAT32 or FLOAT64, or null for digits. */
  readonly float: number | null;
  /** The value where it is not live. */
  readonly value: string | null;
}

/** The number as text that reads back as the same counts and scale: (12630, -3) is "12.630", (25, 2) is "25e2". */
export function numberText(counts: number, scale: number): string {
  if (scale === FLOAT32 || scale === FLOAT64) return Object.is(counts, -0) ? '-0' : String(counts);
  if (scale > 0) return `${Object.is(counts, -0) ? '-0' : counts}e${scale}`;
  return scale === 0 && Object.is(counts, -0) ? '-0' : textOf(counts, scale);
}

/** The cell for a sample; empty where it is live, plain and in digits. */
export function flagsText(counts: number, scale: number, flags: number): string {
  const words = NAMES.filter(([, bit]) => (flags & bit) !== 0).map(([name]) => name);
  if ((flags & ~KNOWN) !== 0) words.push(`0x${(flags & ~KNOWN).toString(16)}`);
  if (scale === FLOAT32) words.push('float32');
  if (scale === FLOAT64) words.push('float64');
  if (!isLive(flags)) words.push(numberText(counts, scale));
  return words.join(' ');
}

/** null where the text is not such a cell. */
export function readFlags(text: string): FlagWords | null {
  let flags = 0;
  let float: number | null = null;
  let value: string | null = null;
  for (const word of text.split(/\s+/).filter((w) => w !== '')) {
    const bit = NAMES.find(([name]) => name.toLowerCase() === word.toLowerCase())?.[1];
    if (bit !== undefined) flags |= bit;
    else if (/^0x[0-9a-f]{1,4}$/i.test(word)) flags |= Number(word);
    else if (Object.hasOwn(FLOATS, word)) float = FLOATS[word]!;
    else if (value === null && /^[-+.,\d]/.test(word)) value = word;
    else return null;
  }
  return { flags, float, value };
}

/** Milliseconds as seconds that read back as the same double: 100.5 is "0.1005". */
export function secondsText(ms: number): string {
  const text = Object.is(ms, -0) ? '-0' : String(ms);
  if (text.includes('e')) return text.replace(/e(.*)$/, (_, power: string) => `e${Number(power) - 3}`);
  const negative = text.startsWith('-');
  const [whole = '', part = ''] = (negative ? text.slice(1) : text).split('.');
  const digits = whole.padStart(4, '0');
  return `${negative ? '-' : ''}${digits.slice(0, -3)}.${digits.slice(-3)}${part}`;
}
