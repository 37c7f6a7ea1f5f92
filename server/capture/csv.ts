import { csvCellSchema, type CsvGap, type CsvRecording } from '../messages/csvRecord.ts';
import type { ChannelInput, RecordingEvent } from '../messages/records.ts';
import { ColumnBuilder, NumberColumn } from '../samples/builder.ts';
import type { SampleColumns } from '../samples/columns.ts';
import { timeAxis, type TimeAxis } from './csvAxis.ts';
import { csvText } from './csvBytes.ts';
import { onTimes, straighten } from './csvClock.ts';
import { CsvError, CsvReason } from './csvError.ts';
import { columnRoles, type ColumnRole } from './csvHeader.ts';
import { DecimalReader } from './csvNumber.ts';
import { CsvRows, delimiterOf } from './csvRows.ts';
import { hasValue, readValue, type ValueColumn } from './csvValue.ts';

/** A file read as a recording; nothing of it is stored yet. */
export interface ParsedCsv {
  /** What an exported recording said of itself; null for any other file. */
  readonly recording: CsvRecording | null;
  readonly startedAt: string | null;
  readonly durationMs: number;
  readonly channels: readonly { readonly input: ChannelInput; readonly columns: SampleColumns }[];
  readonly events: readonly RecordingEvent[];
  readonly gaps: readonly CsvGap[];
  /** Names of columns that were left out. */
  readonly ignored: readonly string[];
}

/**
 * Reads a CSV (plain or gzip) with a header row that names quantities and units; digits are kept as written.
 * @throws CsvError naming the file, the line and the reason
 */
export function parseCsv(bytes: Uint8Array, file: string): ParsedCsv {
  let rows: CsvRows | null = null;
  try {
    const text = csvText(bytes);
    rows = new CsvRows(text, delimiterOf(headerLine(text)));
    return new CsvReading(rows, file).read();
  } catch (error) {
    if (!(error instanceof CsvReason)) throw error;
    throw new CsvError(file, rows === null || rows.line === 0 ? null : rows.line, error.message);
  }
}

/** The first line that is neither blank nor a comment; it settles the delimiter. */
function headerLine(text: Uint8Array): string {
  const head = new TextDecoder().decode(text.subarray(0, 64 * 1024));
  return head.split(/\r?\n|\r/).find((line) => line.trim() !== '' && !line.startsWith('#')) ?? '';
}

class CsvReading {
  private readonly number = new DecimalReader();
  private readonly names: string[];
  private readonly roles: ColumnRole[];
  private readonly values: ValueColumn[];
  private readonly timeFields: number[];
  private readonly recordField: number;
  private readonly events: RecordingEvent[] = [];
  private readonly gaps: CsvGap[] = [];
  private recording: CsvRecording | null = null;
  private axis: TimeAxis | null = null;
  /** Time and line of each row that tells a time; samples hold the row's number until all rows are read. */
  private readonly rowTimes = new NumberColumn();
  private readonly rowLines = new NumberColumn();

  constructor(
    private readonly rows: CsvRows,
    private readonly file: string,
  ) {
    if (!rows.next()) throw new CsvError(file, null, 'the file is empty');
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
              samples: new ColumnBuilder(),
            },
          ]
        : [],
    );
    if (this.values.length === 0 && this.recordField < 0)
      throw new CsvReason(
        'no column gives a current, a voltage or a temperature with its unit; name one for example "current_A"',
      );
  }

  read(): ParsedCsv {
    while (this.rows.next()) this.row();
    if (this.recording === null && this.values.every((v) => v.samples.length === 0))
      throw new CsvReason('the file holds no readings');
    return this.result();
  }

  private row(): void {
    const { rows } = this;
    this.checkLength();
    if (this.recordField >= 0 && !rows.isEmpty(this.recordField)) this.record(rows.text(this.recordField));
    const timed = this.timeFields.some((field) => !rows.isEmpty(field));
    let row: number | null = null;
    for (const value of this.values) {
      if (!hasValue(rows, value)) continue;
      if (!timed && this.timeFields.length > 0) throw new CsvReason('the line gives no time');
      row ??= this.time();
      readValue(rows, value, this.number, row);
    }
    // A line without readings still tells the time, and must tell it well.
    if (timed && row === null && this.recording === null) this.time();
  }

  private checkLength(): void {
    const { rows, names } = this;
    let fields = rows.fields;
    while (fields > names.length && rows.isEmpty(fields - 1)) fields--;
    if (fields === names.length) return;
    const hint = fields > names.length ? ' (a decimal comma needs a semicolon between the fields)' : '';
    throw new CsvReason(`the line has ${fields} fields, the header names ${names.length}${hint}`);
  }

  /** The number of the present row, whose time is kept. */
  private time(): number {
    this.axis ??= timeAxis(this.roles, this.rows, this.number, this.recording !== null);
    this.rowTimes.push(this.axis.read(this.rows));
    return this.rowLines.push(this.rows.line);
  }

  private record(text: string): void {
    const cell = csvCellSchema.safeParse(jsonOf(text));
    if (!cell.success) throw new CsvReason('the cell in column "nightdraw" is not one that Nightdraw wrote');
    if ('recording' in cell.data) this.recording = cell.data.recording;
    else if ('event' in cell.data) this.events.push(cell.data.event);
    else this.gaps.push(cell.data.gap);
  }

  private result(): ParsedCsv {
    const { recording, axis } = this;
    const ownChannels = recording?.channels ?? [];
    if (recording !== null && ownChannels.length !== this.values.length)
      throw new CsvReason('the value columns are not those that the recording was exported with');
    if (this.gaps.some((gap) => gap.channel >= this.values.length))
      throw new CsvReason('a gap belongs to a column that is not there');
    // An exported recording comes back with its times as they were.
    const fileMs = this.rowTimes.values();
    const { t, steps, disorderAt } =
      recording === null ? straighten(fileMs) : { t: fileMs, steps: [], disorderAt: null };
    if (disorderAt !== null)
      throw new CsvError(
        this.file,
        this.rowLines.values()[disorderAt]!,
        'the times go back here and often before; sort the file by time',
      );
    const kept = this.values.filter((v) => recording !== null || v.samples.length > 0);
    const channels = kept.map((v, i) => ({
      input: ownChannels[i] ?? this.channelOf(v),
      columns: onTimes(v.samples.columns(), t, recording === null),
    }));
    const ignored = this.ignoredNames(kept);
    return {
      recording,
      startedAt: recording === null ? (axis?.startedAt ?? null) : recording.startedAt,
      durationMs:
        recording?.durationMs ?? channels.reduce((last, c) => Math.max(last, c.columns.t.at(-1) ?? 0), 0),
      channels,
      events: [...this.notes(ignored), ...this.events, ...steps.map((step) => step.event)],
      gaps: this.gaps,
      ignored,
    };
  }

  private ignoredNames(kept: readonly ValueColumn[]): string[] {
    const empty = this.values.filter((v) => !kept.includes(v)).map((v) => v.field);
    return this.names.filter(
      (name, i) => name !== '' && (this.roles[i]!.kind === 'ignored' || empty.includes(i)),
    );
  }

  private channelOf(v: ValueColumn): ChannelInput {
    return {
      meterKey: `file:${meterName(this.file)}`,
      meterName: this.file.slice(0, 120),
      driver: 'csv',
      key: `column-${v.field + 1}`,
      quantity: v.quantity,
      label: v.name.slice(0, 120),
      apertureMs: null,
    };
  }

  /** What the import has to say about the file, at its start. */
  private notes(ignored: readonly string[]): RecordingEvent[] {
    if (this.recording !== null) return [];
    const texts: string[] = [];
    const clock = this.axis?.startedOnClock;
    if (clock) texts.push(`The file's clock read ${clock} at the start; it names no time zone.`);
    if (ignored.length > 0) texts.push(`Columns left out: ${ignored.map((n) => `"${n}"`).join(', ')}.`);
    return texts.map((text) => ({ atMs: 0, kind: 'note', text: text.slice(0, 4000), value: null }));
  }
}

/** The file's name as a meter's key may hold it. */
function meterName(file: string): string {
  return file.replace(/[^\w.-]+/g, '-').slice(-100) || 'csv';
}

function jsonOf(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}
