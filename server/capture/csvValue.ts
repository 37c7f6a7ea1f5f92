import { FLAG, FLOAT64, type Quantity } from '../../drivers/core/reading.ts';
import type { SampleColumns } from '../samples/columns.ts';
import { readFlags } from '../samples/text.ts';
import { CsvReason } from './csvError.ts';
import type { DecimalReader } from './csvNumber.ts';
import type { CsvRows } from './csvRows.ts';

/** A column of readings and what was read from it. */
export interface ValueColumn {
  readonly name: string;
  readonly field: number;
  /** The field that holds its flags, or -1. */
  readonly flags: number;
  readonly quantity: Quantity;
  /** Power of ten of the unit's prefix. */
  readonly shift: number;
  readonly samples: RowSamples;
}

/** Readings of one column in a block of rows, each with the number of its row. */
export class RowSamples {
  length = 0;
  readonly row: Uint32Array;
  readonly counts: Float64Array;
  readonly scale: Int8Array;
  readonly flags: Uint16Array;

  constructor(rows: number) {
    this.row = new Uint32Array(rows);
    this.counts = new Float64Array(rows);
    this.scale = new Int8Array(rows);
    this.flags = new Uint16Array(rows);
  }

  static copyOf(other: RowSamples, rows: number): RowSamples {
    const copy = new RowSamples(rows);
    copy.length = other.length;
    copy.row.set(other.row.subarray(0, other.length));
    copy.counts.set(other.counts.subarray(0, other.length));
    copy.scale.set(other.scale.subarray(0, other.length));
    copy.flags.set(other.flags.subarray(0, other.length));
    return copy;
  }

  push(row: number, counts: number, scale: number, flags: number): void {
    const i = this.length++;
    this.row[i] = row;
    this.counts[i] = counts;
    this.scale[i] = scale;
    this.flags[i] = flags;
  }

  /** With the time of each row, as columns of samples; views that hold until the block is filled anew. */
  at(t: Float64Array): SampleColumns {
    const n = this.length;
    return {
      length: n,
      t: n === t.length ? t : Float64Array.from(this.row.subarray(0, n), (row) => t[row]!),
      counts: this.counts.subarray(0, n),
      scale: this.scale.subarray(0, n),
      flags: this.flags.subarray(0, n),
    };
  }
}

/** Whether the present row has a reading, live or not, in that column. */
export function hasValue(rows: CsvRows, column: ValueColumn): boolean {
  return !rows.isEmpty(column.field) || hasFlags(rows, column);
}

function hasFlags(rows: CsvRows, column: ValueColumn): boolean {
  return column.flags >= 0 && !rows.isEmpty(column.flags);
}

/** Adds the present row's reading to the column's samples. @throws CsvReason */
export function readValue(rows: CsvRows, column: ValueColumn, number: DecimalReader, row: number): void {
  if (hasFlags(rows, column)) {
    readFlagged(rows, column, number, row);
    return;
  }
  const { bytes, start, end } = rows;
  const [from, to] = [start[column.field]!, end[column.field]!];
  if (isOverload(bytes, from, to)) {
    column.samples.push(row, 0, column.shift, FLAG.overload);
    return;
  }
  number.read(bytes, from, to, column.shift);
  column.samples.push(row, number.counts, number.scale, 0);
}

function readFlagged(rows: CsvRows, column: ValueColumn, number: DecimalReader, row: number): void {
  const cell = readFlags(rows.text(column.flags));
  if (cell === null) throw new CsvReason(`"${rows.text(column.flags)}" are no flags of ${column.name}`);
  if ((cell.value !== null) !== rows.isEmpty(column.field))
    throw new CsvReason(`${column.name} needs one value, beside its flags or among them`);
  const text = cell.value ?? rows.text(column.field);
  if (cell.float === null) {
    const bytes = new TextEncoder().encode(text);
    number.read(bytes, 0, bytes.length, column.shift);
    column.samples.push(row, number.counts, number.scale, cell.flags);
    return;
  }
  // The meter's own float is in the channel's own unit, as an exported recording writes it.
  const x = column.shift === 0 ? Number(text) : Number(`${text}e${column.shift}`);
  if (text.trim() === '' || !Number.isFinite(x)) throw new CsvReason(`"${text}" is not a number`);
  column.samples.push(row, x, column.shift === 0 ? cell.float : FLOAT64, cell.flags);
}

/** "OL" is how meters print an overload. */
function isOverload(bytes: Uint8Array, from: number, to: number): boolean {
  const first = bytes[from] === MINUS || bytes[from] === PLUS ? from + 1 : from;
  if ((bytes[first]! | LOWER_CASE) !== LETTER_O || to - first > 4) return false; // nearly every field ends here
  return /^(OL|O\.L|OVL?D?)$/i.test(String.fromCharCode(...bytes.subarray(first, to)));
}
const MINUS = 0x2d;
const PLUS = 0x2b;
const LOWER_CASE = 0x20;
const LETTER_O = 0x6f;
