import { gunzipSync } from 'node:zlib';
import { timeAxis } from '../../server/capture/csvAxis.ts';
import { CsvError, CsvReason } from '../../server/capture/csvError.ts';
import { columnRoles, type ColumnRole } from '../../server/capture/csvHeader.ts';
import { DecimalReader } from '../../server/capture/csvNumber.ts';
import { CsvRows } from '../../server/capture/csvRows.ts';
import { FLAG, FLOAT64 } from '../../drivers/core/reading.ts';
import { csvCellSchema, type CsvCell } from '../../server/messages/csvRecord.ts';
import type { RecordingEvent } from '../../server/messages/records.ts';
import { readFlags } from '../../server/samples/text.ts';
import type { ReadCsv } from './csv.ts';

/**
 * Reads a CSV as the program must, slowly and obviously: the whole text as one string, a row as an array of
 * strings, a sample as an object, all rows before anything is said of them. What header names mean and how one time
 * is written is not its subject: that it asks the program.
 */
export function slowCsv(bytes: Uint8Array, file: string): ReadCsv {
  let line: number | null = null;
  try {
    const rows = rowsOf(textOf(bytes), (at) => (line = at));
    const header = rows.next();
    if (header.done === true) throw new CsvReason('the file is empty', 'file');
    return read(header.value.fields, rows, file);
  } catch (error) {
    if (!(error instanceof CsvReason)) throw error;
    throw new CsvError(file, error.blames === 'file' ? null : line, error.message);
  }
}

function textOf(bytes: Uint8Array): string {
  let plain = bytes;
  if (bytes[0] === 0x1f && bytes[1] === 0x8b) {
    try {
      plain = gunzipSync(bytes);
    } catch {
      throw new CsvReason('the gzip data are damaged or cut off', 'file');
    }
  }
  if (plain[0] === 0xff && plain[1] === 0xfe) return new TextDecoder('utf-16le').decode(plain);
  if (plain[0] === 0xfe && plain[1] === 0xff) return new TextDecoder('utf-16be').decode(plain);
  if (plain[0] === 0xef && plain[1] === 0xbb && plain[2] === 0xbf)
    return new TextDecoder('utf-8').decode(plain);
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(plain);
  } catch {
    // Decoded at one go, some versions of Node take it for Latin-1.
    return new TextDecoder('windows-1252').decode(plain, { stream: true });
  }
}

interface Row {
  readonly line: number;
  readonly fields: string[];
}

/** Rows that are neither blank nor comments, one after another; whoever reads them learns of a broken one in its turn. */
function* rowsOf(text: string, atLine: (line: number) => void): Generator<Row> {
  const first = text.split(/\r?\n|\r/).find((l) => l.trim() !== '' && !l.startsWith('#')) ?? '';
  const outside = first.replace(/"[^"]*"/g, '');
  const delimiter = [';', '\t', ','].find((sign) => outside.includes(sign)) ?? ',';
  let rest = text;
  for (let line = 1; rest !== '';) {
    atLine(line);
    const fields: string[] = [];
    let lines = 1;
    if (rest.startsWith('#')) rest = rest.replace(/^[^\r\n]*/, '');
    else
      for (;;) {
        if (fields.length === 256) throw new CsvReason('the line has more than 256 fields');
        if (/^ *"/.test(rest)) {
          const quoted = /^ *"((?:[^"]|"")*)"(?!") */.exec(rest);
          if (quoted === null) throw new CsvReason('a quote is opened and never closed');
          const [whole, inside] = [quoted[0], quoted[1]!];
          lines += whole.split('\n').length - 1;
          // Blanks are taken off at the end of a quoted text, and kept at its beginning.
          fields.push(inside.replace(/ +$/, '').replaceAll('""', '"'));
          rest = rest.slice(whole.length);
          if (rest !== '' && !/^[\r\n]/.test(rest) && !rest.startsWith(delimiter))
            throw new CsvReason('there is text after a closing quote');
        } else {
          const stop = rest.search(
            delimiter === ';' ? /[;\r\n]/ : delimiter === ',' ? /[,\r\n]/ : /[\t\r\n]/,
          );
          const field = stop < 0 ? rest : rest.slice(0, stop);
          fields.push(field.replace(/^ +| +$/g, '').replaceAll('""', '"'));
          rest = rest.slice(field.length);
        }
        if (!rest.startsWith(delimiter)) break;
        rest = rest.slice(1);
      }
    rest = rest.replace(/^(?:\r\n|\r|\n)/, '');
    if (fields.some((f) => f !== '')) yield { line, fields };
    line += lines;
  }
}

interface Sample {
  row: number;
  counts: number;
  scale: number;
  flags: number;
}

function read(names: string[], body: Iterable<Row>, file: string): ReadCsv {
  const titles = names.map((name) => name.trim());
  const roles = columnRoles(titles);
  const number = new DecimalReader();
  const columns = roles.flatMap((role, field) =>
    role.kind === 'value' ? [{ role, field, samples: [] as Sample[] }] : [],
  );
  const cells: CsvCell[] = [];
  if (columns.length === 0 && !roles.some((role) => role.kind === 'record'))
    throw new CsvReason(
      'no column gives a current, a voltage or a temperature with its unit; name one for example "current_A"',
    );
  const timeFields = roles.flatMap((role, i) => (role.kind === 'time' || role.kind === 'date' ? [i] : []));
  const recordField = roles.findIndex((role) => role.kind === 'record');
  const own = () => cells.flatMap((cell) => ('recording' in cell ? [cell.recording] : [])).at(-1) ?? null;
  let axis: ReturnType<typeof timeAxis> | null = null;
  const times: { ms: number; line: number }[] = [];
  for (const { line, fields } of body) {
    while (fields.length > titles.length && fields.at(-1) === '') fields.pop();
    if (fields.length !== titles.length) {
      const hint =
        fields.length > titles.length ? ' (a decimal comma needs a semicolon between the fields)' : '';
      throw new CsvReason(`the line has ${fields.length} fields, the header names ${titles.length}${hint}`);
    }
    if (recordField >= 0 && fields[recordField] !== '') {
      const cell = csvCellSchema.safeParse(jsonOf(fields[recordField]!));
      if (!cell.success)
        throw new CsvReason('the cell in column "nightdraw" is not one that Nightdraw wrote');
      cells.push(cell.data);
    }
    const timed = timeFields.some((i) => fields[i] !== '');
    let row: number | null = null;
    const time = () => {
      const one = oneRow(fields);
      axis ??= timeAxis(roles, one, number, own() !== null);
      return times.push({ ms: axis.read(one), line }) - 1;
    };
    for (const { role, field, samples } of columns) {
      const flagsField = roles.findIndex((r) => r.kind === 'flags' && r.of === field);
      const flagText = flagsField < 0 ? '' : fields[flagsField]!;
      if (fields[field] === '' && flagText === '') continue;
      if (!timed && timeFields.length > 0) throw new CsvReason('the line gives no time');
      row ??= time();
      samples.push({ row, ...valueOf(fields[field]!, flagText, role, titles[field]!, number) });
    }
    if (timed && row === null && own() === null) time();
  }
  return result();

  function result(): ReadCsv {
    const recording = own();
    if (recording === null && columns.every((c) => c.samples.length === 0))
      throw new CsvReason('the file holds no readings');
    if (recording !== null && recording.channels.length !== columns.length)
      throw new CsvReason('the value columns are not those that the recording was exported with');
    const gaps = cells.flatMap((cell) => ('gap' in cell ? [cell.gap] : []));
    if (gaps.some((gap) => gap.channel >= columns.length))
      throw new CsvReason('a gap belongs to a column that is not there');
    const clock = straight(times.map((t) => t.ms));
    if (recording === null && clock.disorderAt !== null)
      throw new CsvError(
        file,
        times[clock.disorderAt]!.line,
        'the times go back here and often before; sort the file by time',
      );
    const kept = columns.filter((c) => recording !== null || c.samples.length > 0);
    const channels = kept.map(({ role, field, samples }, k) => {
      const timed = samples.map((s) => ({
        ...s,
        t: recording === null ? clock.t[s.row]! : times[s.row]!.ms,
      }));
      if (recording === null) timed.sort((a, b) => a.t - b.t);
      return {
        input: recording?.channels[k] ?? {
          meterKey: `file:${file.replace(/[^\w.-]+/g, '-').slice(-100) || 'csv'}`,
          meterName: file.slice(0, 120),
          driver: 'csv',
          key: `column-${field + 1}`,
          quantity: role.quantity,
          label: titles[field]!.slice(0, 120),
          apertureMs: null,
        },
        t: timed.map((s) => s.t),
        counts: timed.map((s) => s.counts),
        scale: timed.map((s) => s.scale),
        flags: timed.map((s) => s.flags),
      };
    });
    const ignored = titles.filter(
      (name, i) =>
        name !== '' &&
        (roles[i]!.kind === 'ignored' || columns.some((c) => c.field === i && !kept.includes(c))),
    );
    const note = (text: string): RecordingEvent => ({
      atMs: 0,
      kind: 'note',
      text: text.slice(0, 4000),
      value: null,
    });
    const notes: RecordingEvent[] = [];
    if (recording === null && axis?.startedOnClock)
      notes.push(note(`The file's clock read ${axis.startedOnClock} at the start; it names no time zone.`));
    if (recording === null && ignored.length > 0)
      notes.push(note(`Columns left out: ${ignored.map((n) => `"${n}"`).join(', ')}.`));
    const events = cells.flatMap((cell) => ('event' in cell ? [cell.event] : []));
    return {
      recording,
      startedAt: recording === null ? (axis?.startedAt ?? null) : recording.startedAt,
      durationMs: recording?.durationMs ?? Math.max(0, ...channels.map((c) => c.t.at(-1) ?? 0)),
      channels,
      events: [...notes, ...events, ...(recording === null ? clock.steps : [])],
      gaps,
      ignored,
    };
  }
}

/** A row of its own for whoever reads times out of bytes. */
function oneRow(fields: readonly string[]): CsvRows {
  const rows = new CsvRows([
    new TextEncoder().encode(
      fields.map((f) => `"${f.replace(/[\r\n]/g, ' ').replaceAll('"', '""')}"`).join(','),
    ),
  ]);
  rows.next();
  return rows;
}

function valueOf(
  text: string,
  flagText: string,
  { shift }: ColumnRole & { kind: 'value' },
  name: string,
  number: DecimalReader,
): Omit<Sample, 'row'> {
  const digits = (s: string) => {
    const bytes = new TextEncoder().encode(s);
    number.read(bytes, 0, bytes.length, shift);
    return { counts: number.counts, scale: number.scale };
  };
  if (flagText === '')
    return /^[-+]?(OL|O\.L|OVL?D?)$/i.test(text)
      ? { counts: 0, scale: shift, flags: FLAG.overload }
      : { ...digits(text), flags: 0 };
  const cell = readFlags(flagText);
  if (cell === null) throw new CsvReason(`"${flagText}" are no flags of ${name}`);
  if ((cell.value !== null) !== (text === ''))
    throw new CsvReason(`${name} needs one value, beside its flags or among them`);
  const value = cell.value ?? text;
  if (cell.float === null) return { ...digits(value), flags: cell.flags };
  const x = shift === 0 ? Number(value) : Number(`${value}e${shift}`);
  if (!Number.isFinite(x)) throw new CsvReason(`"${value}" is not a number`);
  return { counts: x, scale: shift === 0 ? cell.float : FLOAT64, flags: cell.flags };
}

function jsonOf(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** All rows at once: a step back of the clock is taken out, a reading that arrived late keeps its time. */
function straight(ms: readonly number[]): {
  t: number[];
  steps: RecordingEvent[];
  disorderAt: number | null;
} {
  if (!ms.some((x, i) => x < ms[i - 1]!)) return { t: [...ms], steps: [], disorderAt: null };
  const forward = ms
    .slice(1)
    .map((x, i) => x - ms[i]!)
    .filter((d) => d > 0)
    .sort((a, b) => a - b);
  const usual = forward[Math.floor(forward.length / 2)] ?? 0;
  const t: number[] = [];
  const steps: RecordingEvent[] = [];
  let [latest, shift, late] = [-Infinity, 0, 0];
  for (let row = 0; row < ms.length; row++) {
    const here = ms[row]!;
    const before = latest - shift;
    const goesOn = [1, 2, 3].some((k) => {
      const then = ms[row + k];
      return then !== undefined && then >= before && then - here > (k + 0.5) * usual;
    });
    t.push(here + shift);
    if (here + shift >= latest) latest = here + shift;
    else if (before - here <= usual / 2 || goesOn) late++;
    else {
      const value = here + shift - latest - usual;
      latest += usual;
      shift = latest - here;
      t[row] = latest;
      const text = `The clock was set back by ${(-value / 1000).toFixed(1)} s.`;
      steps.push({ atMs: latest, kind: 'clock-step', text, value });
    }
    if (late > Math.max(100, 0.05 * ms.length) || steps.length > 100) return { t, steps, disorderAt: row };
  }
  return { t, steps, disorderAt: null };
}
