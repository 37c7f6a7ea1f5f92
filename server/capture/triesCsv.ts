import type { Try } from '../battery/logistic.ts';
import { CsvError } from './csvError.ts';

/** Nobody tries a handle more often than that; a larger file is some other file. */
const MOST_BYTES = 1_000_000;
/** A car's supply is nowhere near these; a reading in millivolts is. */
const MOST_V = 100;

/**
 * Tries at the handle from a CSV of comma, semicolon or tab, with columns "voltage_V" (decimal point or comma) and
 * "worked" (0 or 1); others are passed over.
 * @throws CsvError (unreadable-file) with file, line and reason; nothing is taken from a file that has a bad row
 */
export function parseTries(bytes: Uint8Array, file: string): Try[] {
  if (bytes.length > MOST_BYTES) throw new CsvError(file, null, 'the file is too large for a list of tries');
  const lines = decoded(bytes).split(/\r\n|\n|\r/);
  const first = lines.findIndex((line) => line.trim() !== '');
  if (first < 0) throw new CsvError(file, 1, 'the file is empty; its first line names voltage_V and worked');
  const header = lines[first]!;
  const delimiter = [';', '\t', ','].find((sign) => header.includes(sign)) ?? ',';
  const fieldsOf = (line: string, number: number): string[] =>
    line.split(delimiter).map((field) => unquoted(field.trim(), file, number));
  const names = fieldsOf(header, first + 1).map((name) => name.toLowerCase());
  const column = (name: string): number => {
    const found = names.filter((n) => n === name.toLowerCase()).length;
    if (found === 1) return names.indexOf(name.toLowerCase());
    const reason = found === 0 ? `there is no column "${name}"` : `there are ${found} columns "${name}"`;
    throw new CsvError(file, first + 1, reason);
  };
  const [voltage, worked] = [column('voltage_V'), column('worked')];
  const tries: Try[] = [];
  for (let i = first + 1; i < lines.length; i++) {
    if (lines[i]!.split(delimiter).every((field) => field.trim() === '')) continue;
    const fields = fieldsOf(lines[i]!, i + 1);
    const made = tryOf(fields[voltage] ?? '', fields[worked] ?? '');
    if (typeof made === 'string') throw new CsvError(file, i + 1, made);
    tries.push(made);
  }
  return tries;
}

/** UTF-8, or UTF-16 as spreadsheets write it, without the byte order mark. */
function decoded(bytes: Uint8Array): string {
  const wide = bytes[0] === 0xff && bytes[1] === 0xfe;
  return new TextDecoder(wide ? 'utf-16le' : 'utf-8').decode(bytes);
}

function unquoted(field: string, file: string, line: number): string {
  if (!field.startsWith('"')) return field;
  if (field.length < 2 || !field.endsWith('"'))
    throw new CsvError(file, line, 'a quote is opened and never closed');
  return field.slice(1, -1).trim();
}

/** The try, or what is wrong with it. */
function tryOf(voltage: string, worked: string): Try | string {
  if (voltage === '') return 'the voltage is missing';
  if (worked === '') return '"worked" is missing; write 0 or 1';
  const shown = voltage.slice(0, 40);
  if (!/^[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,3})?$/i.test(voltage)) return `"${shown}" is not a number`;
  const voltageV = Number(voltage.replace(',', '.'));
  if (!(Math.abs(voltageV) < MOST_V)) return `"${shown}" is no voltage of a car in volts`;
  if (worked !== '0' && worked !== '1') return `"${worked.slice(0, 40)}" is neither 0 nor 1`;
  return { voltageV, worked: worked === '1' };
}
