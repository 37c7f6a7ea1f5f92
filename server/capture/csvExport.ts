import { isLive, type Quantity } from '../../drivers/core/reading.ts';
import { CSV_RECORD_COLUMN, type CsvCell } from '../messages/csvRecord.ts';
import type { Recording } from '../messages/records.ts';
import type { SampleColumns } from '../samples/columns.ts';
import { flagsText, numberText, secondsText } from '../samples/text.ts';
import type { Store } from '../store/store.ts';

const HEADER: Readonly<Record<Quantity, string>> = {
  current: 'current_A',
  voltage: 'voltage_V',
  temperature: 'temperature_degC',
};
const LINES_A_PIECE = 4096;

/**
 * A recording as CSV, in pieces of a few thousand lines: seconds from its start, one column a channel with the
 * meter's own digits (blank where it said nothing at that time), a column of flags for a channel that has any,
 * and the column "nightdraw" (see server/messages/csvRecord.ts). Importing it gives the same recording.
 * @throws NightdrawError not-found
 */
export function* exportCsv(store: Store, recordingId: string): Generator<string> {
  const recording = store.getRecording(recordingId);
  const channels = recording.channels.map((channel) => store.readSamples(channel.id));
  const flagged = channels.map((c) => c.flags.some((f) => f !== 0) || c.scale.some((s) => s > 125));
  yield headerLine(recording, flagged);
  const notes = notesOf(store, recording);
  let piece = '';
  let lines = 0;
  for (const row of merged(channels, notes)) {
    piece += secondsText(row.t);
    for (let k = 0; k < channels.length; k++)
      piece += sampleFields(channels[k]!, row.samples[k]!, flagged[k]!);
    piece += row.note === null ? ',\n' : `,${quoted(JSON.stringify(row.note))}\n`;
    if (++lines % LINES_A_PIECE !== 0) continue;
    yield piece;
    piece = '';
  }
  yield piece;
}

function headerLine(recording: Recording, flagged: readonly boolean[]): string {
  const seen = new Map<string, number>();
  const names = recording.channels.map(({ quantity }) => {
    const n = (seen.get(quantity) ?? 0) + 1;
    seen.set(quantity, n);
    const [word, unit] = HEADER[quantity].split('_');
    return n === 1 ? HEADER[quantity] : `${word}${n}_${unit}`;
  });
  const columns = names.flatMap((name, k) => (flagged[k] ? [name, `${name} flags`] : [name]));
  return ['time_s', ...columns, CSV_RECORD_COLUMN].join(',') + '\n';
}

interface Note {
  readonly t: number;
  readonly cell: CsvCell;
}

/** What the recording says besides samples: itself first, then gaps and events by time. */
function notesOf(store: Store, recording: Recording): Note[] {
  const { title, startedAt, zone, durationMs, provenance } = recording;
  const channels = recording.channels.map(({ id: _id, samples: _samples, ...input }) => input);
  const gaps = store.listGaps(recording.id).map(({ channelId, ...gap }) => ({
    t: gap.startMs,
    cell: { gap: { ...gap, channel: recording.channels.findIndex((c) => c.id === channelId) } },
  }));
  const events = store.listEvents(recording.id).map((event) => ({ t: event.atMs, cell: { event } }));
  const self = { recording: { title, startedAt, zone, durationMs, provenance, channels } };
  return [{ t: -Infinity, cell: self }, ...[...gaps, ...events].sort((a, b) => a.t - b.t)];
}

interface Row {
  t: number;
  /** For each channel the sample's place, or -1. */
  readonly samples: Int32Array;
  note: CsvCell | null;
}

/**
 * Rows in the order of time, one object used again and again; each channel keeps its own order, so times that
 * went back stay as they were.
 */
function* merged(channels: readonly SampleColumns[], notes: readonly Note[]): Generator<Row> {
  const next = new Int32Array(channels.length);
  const row: Row = { t: 0, samples: new Int32Array(channels.length), note: null };
  let nextNote = 0;
  for (;;) {
    let t = Infinity;
    for (let k = 0; k < channels.length; k++)
      if (next[k]! < channels[k]!.length) t = Math.min(t, channels[k]!.t[next[k]!]!);
    const note = nextNote < notes.length && notes[nextNote]!.t <= t ? notes[nextNote++]! : null;
    if (t === Infinity && note === null) return;
    // The recording's own cell shares the first sample's line; every other note has a line to itself.
    const alone = note !== null && (note.t > -Infinity || t === Infinity);
    for (let k = 0; k < channels.length; k++) {
      const here = !alone && next[k]! < channels[k]!.length && Object.is(channels[k]!.t[next[k]!], t);
      row.samples[k] = here ? next[k]!++ : -1;
    }
    row.t = alone ? (note.t > -Infinity ? note.t : 0) : t;
    row.note = note?.cell ?? null;
    yield row;
  }
}

/** The fields of one channel, each with the comma before it. */
function sampleFields(c: SampleColumns, i: number, flagged: boolean): string {
  if (i < 0) return flagged ? ',,' : ',';
  const [counts, scale, flags] = [c.counts[i]!, c.scale[i]!, c.flags[i]!];
  if (!flagged) return `,${numberText(counts, scale)}`;
  return `,${isLive(flags) ? numberText(counts, scale) : ''},${flagsText(counts, scale, flags)}`;
}

function quoted(text: string): string {
  return `"${text.replaceAll('"', '""')}"`;
}
