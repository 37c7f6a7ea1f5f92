import type { CsvGap, CsvRecording } from '../messages/csvRecord.ts';
import type { ChannelInput, RecordingEvent } from '../messages/records.ts';
import { ColumnBuilder } from '../samples/builder.ts';
import type { SampleColumns } from '../samples/columns.ts';
import type { ByteSource } from './byteSource.ts';
import { NotUtf8, textPieces, type Unmarked } from './csvBytes.ts';
import { Straightener, UsualInterval } from './csvClock.ts';
import { CsvError, CsvReason } from './csvError.ts';
import { byTime, copyOf, LateAmong, splitLate } from './csvLate.ts';
import { CsvReading, type RowBlock } from './csvReading.ts';
import { CsvRows } from './csvRows.ts';
import type { ValueColumn } from './csvValue.ts';

/** What a file says before its readings. */
export interface CsvHead {
  /** What an exported recording said of itself; null for any other file. */
  readonly recording: CsvRecording | null;
  readonly startedAt: string | null;
  readonly channels: readonly ChannelInput[];
}

/** What is known once all was read. */
export interface CsvTail {
  readonly durationMs: number;
  readonly events: readonly RecordingEvent[];
  readonly gaps: readonly CsvGap[];
  /** Names of columns that were left out. */
  readonly ignored: readonly string[];
}

/** A file as it is read. `head` holds from the first block on, or from the end where there is none. */
export interface CsvFile {
  readonly head: CsvHead;
  /** For each channel its next samples, which hold until the next block is taken. @throws CsvReason, Surprise */
  blocks(): Iterable<readonly SampleColumns[]>;
  /** To be asked for after the last block. @throws CsvReason */
  readonly tail: CsvTail;
}

/** Rows that are read at a time: several of the store's blocks. */
const BLOCK_ROWS = 1 << 15;

/**
 * Reads a CSV (plain or gzip) with a header row that names quantities and units; digits are kept as written and
 * memory does not grow with the file. `take` is called once for nearly every file. Where the file turns out other
 * than presumed (its clock goes back, a column begins late, it is not UTF-8), what `take` did is to be undone by the
 * error that passes through it; then the whole file is looked at, and `take` is called once more.
 * @throws CsvError naming the file, the line and the reason
 */
export function readCsv<T>(
  source: ByteSource,
  file: string,
  take: (csv: CsvFile) => T,
  blockRows = BLOCK_ROWS,
): T {
  const pass = <R>(unmarked: Unmarked, work: (reading: CsvReading) => R): R => {
    let rows: CsvRows | null = null;
    try {
      rows = new CsvRows(textPieces(source, unmarked));
      return work(new CsvReading(rows, blockRows));
    } catch (error) {
      if (!(error instanceof CsvReason)) throw error;
      const line = error.blames === 'file' || rows === null || rows.line === 0 ? null : rows.line;
      throw new CsvError(file, line, error.message);
    } finally {
      rows?.close();
    }
  };
  const survey = (unmarked: Unmarked): Facts => {
    try {
      const usual = pass(unmarked, usualInterval);
      return pass(unmarked, (reading) => factsOf(reading, file, unmarked, new Straightener(usual)));
    } catch (error) {
      if (error instanceof NotUtf8) return survey('windows-1252');
      throw error;
    }
  };
  try {
    return pass('utf-8', (reading) => take(new Pass(reading, file, null)));
  } catch (error) {
    if (!(error instanceof Surprise || error instanceof NotUtf8)) throw error;
    const facts = survey(error instanceof NotUtf8 ? 'windows-1252' : 'utf-8');
    return pass(facts.unmarked, (reading) => take(new Pass(reading, file, facts)));
  }
}

/** The file is not as its beginning made it look. */
class Surprise extends Error {
  override readonly name = 'Surprise';
}

/** What only the whole file tells. */
interface Facts {
  readonly unmarked: Unmarked;
  readonly recording: CsvRecording | null;
  /** For each value column whether it has a reading. */
  readonly hasReadings: readonly boolean[];
  /** Null where the times never go back, or are to be taken as they stand. */
  readonly clock: { readonly usual: number; readonly late: readonly SampleColumns[] } | null;
}

function usualInterval(reading: CsvReading): number {
  const usual = new UsualInterval();
  for (const block of reading.blocks()) if (!usual.add(block.t)) break;
  return usual.ms;
}

function factsOf(reading: CsvReading, file: string, unmarked: Unmarked, clock: Straightener): Facts {
  const hasReadings = reading.values.map(() => false);
  const late = reading.values.map(() => new ColumnBuilder());
  for (const [block, next] of withNext(reading.blocks())) {
    splitLate(block, clock.straighten(block.t, block.lines, next), late);
    block.columns.forEach((c, k) => (hasReadings[k] ||= c.length > 0));
  }
  const { recording } = reading;
  checkRecording(reading, recording);
  if (recording === null && clock.disorderAt !== null)
    throw new CsvError(
      file,
      clock.disorderAt,
      'the times go back here and often before; sort the file by time',
    );
  const straight = recording !== null || clock.isNeedless;
  return {
    unmarked,
    recording,
    hasReadings,
    clock: straight ? null : { usual: clock.usual, late: late.map((l) => byTime(l.columns())) },
  };
}

/** Each block, and the times of the one after it. */
function* withNext(blocks: Iterable<RowBlock>): Generator<[RowBlock, Float64Array]> {
  let held: RowBlock | null = null;
  for (const block of blocks) {
    if (held !== null) yield [held, block.t];
    held = copyOf(block);
  }
  if (held !== null) yield [held, new Float64Array(0)];
}

function checkRecording({ values, gaps }: CsvReading, recording: CsvRecording | null): void {
  if (recording !== null && recording.channels.length !== values.length)
    throw new CsvReason('the value columns are not those that the recording was exported with');
  if (gaps.some((gap) => gap.channel >= values.length))
    throw new CsvReason('a gap belongs to a column that is not there');
}

/** One reading of the file with what is known or presumed of it. */
class Pass implements CsvFile {
  /** Value columns that become channels; settled by the first readings. */
  private kept: readonly number[] | null = null;
  private recording: CsvRecording | null = null;
  private steps: readonly RecordingEvent[] = [];
  private lastMs = 0;

  constructor(
    private readonly reading: CsvReading,
    private readonly file: string,
    private readonly facts: Facts | null,
  ) {}

  *blocks(): Generator<readonly SampleColumns[]> {
    const { reading, facts } = this;
    const clock = facts?.clock ?? null;
    let latest = -Infinity;
    for (const columns of clock === null ? this.asTheyStand() : this.straightened(clock)) {
      if (columns.every((c) => c.length === 0)) continue;
      this.settle(columns);
      if (facts === null && reading.recording !== this.recording) throw new Surprise();
      // That a recording does not fit its columns is said once the whole file was read.
      if (this.recording !== null && this.recording.channels.length !== reading.values.length) continue;
      columns.forEach((c, k) => {
        if (c.length > 0 && !this.kept!.includes(k)) throw new Surprise();
      });
      const kept = this.kept!.map((k) => columns[k]!);
      for (const { t, length } of kept) if (length > 0) latest = Math.max(latest, t[length - 1]!);
      yield kept;
    }
    this.lastMs = Math.max(0, latest);
  }

  get head(): CsvHead {
    this.settle([]);
    const { recording, reading, kept } = this;
    return {
      recording,
      startedAt: recording === null ? (reading.axis?.startedAt ?? null) : recording.startedAt,
      channels: recording?.channels ?? kept!.map((k) => this.channelOf(reading.values[k]!)),
    };
  }

  get tail(): CsvTail {
    this.settle([]);
    const { reading, recording, facts } = this;
    if (facts === null && reading.recording !== recording) throw new Surprise();
    if (recording === null && this.kept!.length === 0) throw new CsvReason('the file holds no readings');
    checkRecording(reading, recording);
    const ignored = this.ignoredNames();
    return {
      durationMs: recording?.durationMs ?? this.lastMs,
      events: [...this.notes(ignored), ...reading.events, ...this.steps],
      gaps: reading.gaps,
      ignored,
    };
  }

  private settle(columns: readonly SampleColumns[]): void {
    if (this.kept !== null) return;
    const { facts, reading } = this;
    this.recording = facts === null ? reading.recording : facts.recording;
    const has = (k: number) => (facts === null ? (columns[k]?.length ?? 0) > 0 : facts.hasReadings[k]!);
    this.kept = [...reading.values.keys()].filter((k) => this.recording !== null || has(k));
  }

  private *asTheyStand(): Generator<readonly SampleColumns[]> {
    const { reading, facts } = this;
    let latest = -Infinity;
    for (const { t, columns } of reading.blocks()) {
      // An exported recording comes back with its times as they were.
      if (facts === null && reading.recording === null && goesBack(t, latest)) throw new Surprise();
      latest = t[t.length - 1]!;
      yield columns.map((c) => c.at(t));
    }
  }

  private *straightened(clock: NonNullable<Facts['clock']>): Generator<readonly SampleColumns[]> {
    const straightener = new Straightener(clock.usual);
    const among = clock.late.map((late) => new LateAmong(late));
    for (const [block, next] of withNext(this.reading.blocks())) {
      const straight = straightener.straighten(block.t, block.lines, next);
      const inOrder = splitLate(block, straight, null);
      yield inOrder.map((c, k) => among[k]!.into(c));
    }
    yield among.map((a) => a.rest());
    this.steps = straightener.steps;
  }

  private ignoredNames(): string[] {
    const { names, roles, values } = this.reading;
    const empty = values.filter((_, k) => !this.kept!.includes(k)).map((v) => v.field);
    return names.filter((name, i) => name !== '' && (roles[i]!.kind === 'ignored' || empty.includes(i)));
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
    const clock = this.reading.axis?.startedOnClock;
    if (clock) texts.push(`The file's clock read ${clock} at the start; it names no time zone.`);
    if (ignored.length > 0) texts.push(`Columns left out: ${ignored.map((n) => `"${n}"`).join(', ')}.`);
    return texts.map((text) => ({ atMs: 0, kind: 'note', text: text.slice(0, 4000), value: null }));
  }
}

function goesBack(t: Float64Array, before: number): boolean {
  let last = before;
  for (let i = 0; i < t.length; i++) {
    if (t[i]! < last) return true;
    last = t[i]!;
  }
  return false;
}

/** The file's name as a meter's key may hold it. */
function meterName(file: string): string {
  return file.replace(/[^\w.-]+/g, '-').slice(-100) || 'csv';
}
