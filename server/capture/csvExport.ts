import { isLive, type Quantity } from '../../drivers/core/reading.ts';
import { CSV_RECORD_COLUMN, type CsvCell, type CsvRecording } from '../messages/csvRecord.ts';
import type { Recording } from '../messages/records.ts';
import { ByteText } from '../samples/byteText.ts';
import type { SampleColumns } from '../samples/columns.ts';
import { flagsText } from '../samples/text.ts';
import type { Store } from '../store/store.ts';
import { ExportRows, kindsOf } from './exportRows.ts';

const HEADER: Readonly<Record<Quantity, string>> = {
  current: 'current_A',
  voltage: 'voltage_V',
  temperature: 'temperature_degC',
};
const PIECE_BYTES = 1 << 18;
const COMMA = 0x2c;
const LF = 0x0a;

/**
 * A recording as CSV in UTF-8, in pieces of some thousand whole lines: seconds from its start, one column a channel
 * with the meter's own digits (blank where it said nothing at that time), a column of flags for a channel that has
 * any, and the column "nightdraw" (see server/messages/csvRecord.ts). Importing it gives the same recording.
 * @throws NightdrawError not-found
 */
export function* exportCsv(store: Store, recordingId: string): Generator<Uint8Array> {
  const recording = store.getRecording(recordingId);
  const flagged = kindsOf(store, recording).map((kind) => kind.flagged || kind.floats);
  const out = new ByteText(PIECE_BYTES);
  out.ascii(headerLine(recording, flagged));
  const rows = new ExportRows(recording.channels.map((channel) => store.partsOf(channel.id)));
  const notes = notesOf(store, recording);
  const none = new Int32Array(flagged.length).fill(-1);
  // The recording's own cell shares the first sample's line; every other note has a line to itself.
  let self: string | null = cellText({ recording: selfOf(recording) });
  let nextNote = 0;
  const line = (t: number, at: Int32Array, cell: string | null) => {
    out.seconds(t);
    for (let k = 0; k < at.length; k++) sampleFields(out, rows.pieces[k]!, at[k]!, flagged[k]!);
    out.byte(COMMA);
    if (cell !== null) out.octets(Buffer.from(cell));
    out.byte(LF);
  };
  if (rows.t === Infinity) {
    line(0, none, self);
    self = null;
  }
  for (;;) {
    // Notes stand before the samples of their time, except for the first line.
    while (self === null && nextNote < notes.length && notes[nextNote]!.t <= rows.t) {
      const { t, cell } = notes[nextNote++]!;
      line(t, none, cellText(cell));
    }
    if (rows.t === Infinity) break;
    rows.take();
    line(rows.t, rows.at, self);
    self = null;
    rows.findNext();
    if (out.isFull) yield out.take();
  }
  yield out.take();
}

/** The columns' names, one a channel: current_A, current2_A, voltage_V. */
export function columnNames({ channels }: Recording): string[] {
  const seen = new Map<string, number>();
  return channels.map(({ quantity }) => {
    const n = (seen.get(quantity) ?? 0) + 1;
    seen.set(quantity, n);
    const [word, unit] = HEADER[quantity].split('_');
    return n === 1 ? HEADER[quantity] : `${word}${n}_${unit}`;
  });
}

/** What an exported recording says of itself. */
export function selfOf({ channels, ...recording }: Recording): CsvRecording {
  const { title, startedAt, zone, durationMs, provenance } = recording;
  const inputs = channels.map(({ id: _id, samples: _samples, ...input }) => input);
  return { title, startedAt, zone, durationMs, provenance, channels: inputs };
}

export interface Note {
  readonly t: number;
  readonly cell: Exclude<CsvCell, { recording: unknown }>;
}

/** Gaps and events by time. */
export function notesOf(store: Store, recording: Recording): Note[] {
  const gaps = store.listGaps(recording.id).map(({ channelId, ...gap }) => ({
    t: gap.startMs,
    cell: { gap: { ...gap, channel: recording.channels.findIndex((c) => c.id === channelId) } },
  }));
  const events = store.listEvents(recording.id).map((event) => ({ t: event.atMs, cell: { event } }));
  return [...gaps, ...events].sort((a, b) => a.t - b.t);
}

function headerLine(recording: Recording, flagged: readonly boolean[]): string {
  const columns = columnNames(recording).flatMap((name, k) =>
    flagged[k] ? [name, `${name} flags`] : [name],
  );
  return ['time_s', ...columns, CSV_RECORD_COLUMN].join(',') + '\n';
}

/** The fields of one channel, each with the comma before it. */
function sampleFields(out: ByteText, c: SampleColumns, i: number, flagged: boolean): void {
  out.byte(COMMA);
  if (i < 0) {
    if (flagged) out.byte(COMMA);
    return;
  }
  const [counts, scale, flags] = [c.counts[i]!, c.scale[i]!, c.flags[i]!];
  if (flags === 0 || isLive(flags)) out.number(counts, scale);
  if (!flagged) return;
  out.byte(COMMA);
  const words = flagsText(counts, scale, flags);
  out.ascii(words);
}

function cellText(cell: CsvCell): string {
  return `"${JSON.stringify(cell).replaceAll('"', '""')}"`;
}
