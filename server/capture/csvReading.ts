import { csvCellSchema, type CsvGap, type CsvRecording } from '../messages/csvRecord.ts';
import type { RecordingEvent } from '../messages/records.ts';
import { timeAxis, type TimeAxis } from './csvAxis.ts';
import { CsvReason } from './csvError.ts';
import { columnRoles, type ColumnRole } from './csvHeader.ts';
import { DecimalReader } from './csvNumber.ts';
import type { CsvRows } from './csvRows.ts';
import { hasValue, readValue, RowSamples, type ValueColumn } from './csvValue.ts';

/** Rows that tell a time, with the readings in them; the arrays are filled anew for the next block. */
export interface RowBlock {
  readonly rows: number;
  /** Milliseconds as the file has them, and the line of each row. */
  readonly t: Float64Array;
  readonly lines: Float64Array;
  /** For each value column its readings, by their row in the block. */
  readonly columns: readonly RowSamples[];
}

/** Reads the rows of a CSV text, block by block, and keeps what it says besides. */
export class CsvReading {
  readonly names: readonly string[];
  readonly roles: readonly ColumnRole[];
  readonly values: readonly ValueColumn[];
  readonly events: RecordingEvent[] = [];
  readonly gaps: CsvGap[] = [];
  /** What an exported recording says of itself, once its cell was read. */
  recording: CsvRecording | null = null;
  /** Known from the first row on that tells a time. */
  axis: TimeAxis | null = null;
  private readonly number = new DecimalReader();
  private readonly timeFields: number[];
  private readonly recordField: number;
  private readonly t: Float64Array;
  private readonly lines: Float64Array;
  private filled = 0;

  /** Reads the header row. @throws CsvReason */
  constructor(
    private readonly rows: CsvRows,
    private readonly blockRows: number,
  ) {
    if (!rows.next()) throw new CsvReason('the file is empty', 'file');
    this.names = Array.from({ length: rows.fields }, (_, i) => rows.text(i).trim());
    this.roles = columnRoles(this.names);
    this.timeFields = this.roles.flatMap((role, i) =>
      role.kind === 'time' || role.kind === 'date' ? [i] : [],
    );
    this.recordField = this.roles.findIndex((role) => role.kind === 'record');
    this.values = this.roles.flatMap((role, field) =>
      role.kind === 'value'
        ? [
            {
              field,
              quantity: role.quantity,
              shift: role.shift,
              flags: this.roles.findIndex((r) => r.kind === 'flags' && r.of === field),
              name: this.names[field]!,
              samples: new RowSamples(blockRows),
            },
          ]
        : [],
    );
    this.t = new Float64Array(blockRows);
    this.lines = new Float64Array(blockRows);
    if (this.values.length === 0 && this.recordField < 0)
      throw new CsvReason(
        'no column gives a current, a voltage or a temperature with its unit; name one for example "current_A"',
      );
  }

  /** @throws CsvReason */
  *blocks(): Generator<RowBlock> {
    while (this.rows.next()) {
      this.row();
      if (this.filled < this.blockRows) continue;
      yield this.block();
      this.clear();
    }
    if (this.filled > 0) yield this.block();
    this.clear();
  }

  private block(): RowBlock {
    const rows = this.filled;
    return {
      rows,
      t: this.t.subarray(0, rows),
      lines: this.lines.subarray(0, rows),
      columns: this.values.map((v) => v.samples),
    };
  }

  private clear(): void {
    this.filled = 0;
    for (const value of this.values) value.samples.length = 0;
  }

  private row(): void {
    const { rows, values } = this;
    if (rows.fields !== this.names.length) this.checkLength();
    if (this.recordField >= 0 && !rows.isEmpty(this.recordField)) this.record(rows.text(this.recordField));
    const timed = this.isTimed();
    let row = -1;
    for (let k = 0; k < values.length; k++) {
      const value = values[k]!;
      if (!hasValue(rows, value)) continue;
      if (!timed && this.timeFields.length > 0) throw new CsvReason('the line gives no time');
      if (row < 0) row = this.time();
      readValue(rows, value, this.number, row);
    }
    // A line without readings still tells the time, and must tell it well.
    if (timed && row < 0 && this.recording === null) this.time();
  }

  private isTimed(): boolean {
    for (let i = 0; i < this.timeFields.length; i++) if (!this.rows.isEmpty(this.timeFields[i]!)) return true;
    return false;
  }

  private checkLength(): void {
    const { rows, names } = this;
    let fields = rows.fields;
    while (fields > names.length && rows.isEmpty(fields - 1)) fields--;
    if (fields === names.length) return;
    const hint = fields > names.length ? ' (a decimal comma needs a semicolon between the fields)' : '';
    throw new CsvReason(`the line has ${fields} fields, the header names ${names.length}${hint}`);
  }

  /** The number of the present row within its block, whose time is kept. */
  private time(): number {
    this.axis ??= timeAxis(this.roles, this.rows, this.number, this.recording !== null);
    this.t[this.filled] = this.axis.read(this.rows);
    this.lines[this.filled] = this.rows.line;
    return this.filled++;
  }

  private record(text: string): void {
    const cell = csvCellSchema.safeParse(jsonOf(text));
    if (!cell.success) throw new CsvReason('the cell in column "nightdraw" is not one that Nightdraw wrote');
    if ('recording' in cell.data) this.recording = cell.data.recording;
    else if ('event' in cell.data) this.events.push(cell.data.event);
    else this.gaps.push(cell.data.gap);
  }
}

function jsonOf(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}
