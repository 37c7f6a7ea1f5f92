import { CsvReason } from './csvError.ts';
import type { ColumnRole, TimeUnit } from './csvHeader.ts';
import type { DecimalReader } from './csvNumber.ts';
import type { CsvRows } from './csvRows.ts';
import { isClock, isStamp, msBetween, readClock, readStamp, StampReader, type Stamp } from './csvTime.ts';

/** Where a file's rows are in time. */
export interface TimeAxis {
  /** UTC of the axis' zero, where the file tells it. */
  readonly startedAt: string | null;
  /** The file's own clock at the zero, where it names no zone and so no UTC. */
  readonly startedOnClock: string | null;
  /** Milliseconds on the axis of the present row. @throws CsvReason */
  read(rows: CsvRows): number;
}

const DAY_MS = 86_400_000;
// From 2001 on: no recording is thirty years long, so larger numbers count from 1970.
const EPOCH_MS = 1e12;
const LATEST_MS = Date.UTC(9999, 0);

/**
 * The axis of a file whose first row is the present one.
 * @param own whether Nightdraw exported the file, so that its times are taken as they stand
 * @throws CsvReason where no column gives the time
 */
export function timeAxis(
  roles: readonly ColumnRole[],
  rows: CsvRows,
  number: DecimalReader,
  own: boolean,
): TimeAxis {
  const times = roles.flatMap((role, i) => (role.kind === 'time' ? [{ ...role, column: i }] : []));
  const date = roles.findIndex((role) => role.kind === 'date');
  const measured = times.find((t) => t.unit !== null);
  if (measured !== undefined) {
    const axis = numberAxis(rows, number, measured.column, measured.unit!, own);
    const stamps = [...times.filter((t) => t !== measured).map((t) => t.column), date];
    const stamp = stamps.find((column) => column >= 0 && isStamp(rows.text(column), 'with time of day'));
    return stamp === undefined ? axis : startingAt(axis, rows, readStamp(rows.text(stamp)));
  }
  const [first] = times;
  if (first === undefined) {
    if (date >= 0) return stampAxis(rows, stampsIn(date));
    throw new CsvReason('no column gives the time; name one for example "time_s" or "timestamp"');
  }
  const text = rows.text(first.column);
  if (isStamp(text)) return stampAxis(rows, stampsIn(first.column));
  if (isClock(text)) {
    if (date >= 0) return stampAxis(rows, stampsOf(date, first.column));
    return clockAxis(rows, first.column, first.elapsed);
  }
  return numberAxis(rows, number, first.column, unitBySize(rows, number, first.column), own);
}

/** A number without a unit counts seconds, unless it is so large that it counts finer parts since 1970. */
function unitBySize(rows: CsvRows, number: DecimalReader, column: number): TimeUnit {
  const size = Math.abs(number.readDouble(rows.bytes, rows.start[column]!, rows.end[column]!, 0));
  return { power: size < 1e11 ? 3 : size < 1e14 ? 0 : size < 1e17 ? -3 : -6, times: 1 };
}

function numberAxis(
  rows: CsvRows,
  number: DecimalReader,
  column: number,
  unit: TimeUnit,
  own: boolean,
): TimeAxis {
  const ms = (r: CsvRows): number =>
    number.readDouble(r.bytes, r.start[column]!, r.end[column]!, unit.power) * unit.times;
  const first = ms(rows);
  if (own || first < EPOCH_MS) return { startedAt: null, startedOnClock: null, read: ms };
  const zero = Math.floor(first);
  if (zero > LATEST_MS) throw new CsvReason('the first time lies too far in the future');
  return { startedAt: new Date(zero).toISOString(), startedOnClock: null, read: (r) => ms(r) - zero };
}

/** The same axis, whose zero the wall-clock time of the first row tells. */
function startingAt(axis: TimeAxis, rows: CsvRows, first: Stamp): TimeAxis {
  const nanos = first.nanos - axis.read(rows) * 1e6;
  return axis.startedAt === null ? { ...axis, ...startOf({ ...first, nanos }) } : axis;
}

type StampOf = (rows: CsvRows) => Stamp;

function stampsIn(column: number): StampOf {
  const reader = new StampReader();
  return (r) => reader.read(r.bytes, r.start[column]!, r.end[column]!);
}

/** Date and time of day in columns of their own. */
function stampsOf(date: number, clock: number): StampOf {
  return (r) => readStamp(`${r.text(date)}T${r.text(clock).padStart(8, '0')}`);
}

function stampAxis(rows: CsvRows, stampOf: StampOf): TimeAxis {
  const first = stampOf(rows);
  const zero = { ...first, nanos: Math.floor(first.nanos / 1e6) * 1e6 };
  return {
    ...startOf(zero),
    read(r) {
      const stamp = stampOf(r);
      if (stamp.zoned !== zero.zoned)
        throw new CsvReason('some times name a time zone and some do not; use one form throughout');
      return msBetween(zero, stamp);
    },
  };
}

function startOf(zero: Stamp): Pick<TimeAxis, 'startedAt' | 'startedOnClock'> {
  const utc = Math.round(zero.seconds * 1000 + zero.nanos / 1e6);
  if (!(Math.abs(utc) < LATEST_MS)) throw new CsvReason('the times lie too far from the start');
  const iso = new Date(utc).toISOString();
  return zero.zoned
    ? { startedAt: iso, startedOnClock: null }
    : { startedAt: null, startedOnClock: iso.slice(0, -1) };
}

/** Times of day count from the first row and go on past midnight; an elapsed time is its own axis. */
function clockAxis(rows: CsvRows, column: number, elapsed: boolean): TimeAxis {
  const zero = elapsed ? 0 : readClock(rows.text(column));
  let last = zero;
  let days = 0;
  return {
    startedAt: null,
    startedOnClock: elapsed ? null : rows.text(column),
    read(r) {
      const ms = readClock(r.text(column));
      if (!elapsed && ms < last - DAY_MS / 2) days++;
      last = ms;
      return ms + days * DAY_MS - zero;
    },
  };
}
