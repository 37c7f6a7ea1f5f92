import { sourceOf } from '../../server/capture/byteSource.ts';
import { readCsv } from '../../server/capture/csv.ts';
import { CsvError } from '../../server/capture/csvError.ts';
import type { CsvGap, CsvRecording } from '../../server/messages/csvRecord.ts';
import type { ChannelInput, RecordingEvent } from '../../server/messages/records.ts';

/** All that reading a file gives, as plain arrays. */
export interface ReadCsv {
  readonly recording: CsvRecording | null;
  readonly startedAt: string | null;
  readonly durationMs: number;
  readonly channels: readonly {
    readonly input: ChannelInput;
    readonly t: number[];
    readonly counts: number[];
    readonly scale: number[];
    readonly flags: number[];
  }[];
  readonly events: readonly RecordingEvent[];
  readonly gaps: readonly CsvGap[];
  readonly ignored: readonly string[];
}

export interface Cut {
  /** Bytes that come at a time. */
  readonly piece?: number;
  /** Rows that are read at a time, at least 3 so that each block sees whom it needs in the next. */
  readonly blockRows?: number;
}

/** Reads a file to its end and collects what comes. */
export function readWhole(bytes: Uint8Array, name: string, { piece, blockRows }: Cut = {}): ReadCsv {
  return readCsv(
    sourceOf(bytes, piece),
    name,
    (csv) => {
      const all: { t: number[]; counts: number[]; scale: number[]; flags: number[] }[] = [];
      for (const columns of csv.blocks())
        columns.forEach((c, k) => {
          const own = (all[k] ??= { t: [], counts: [], scale: [], flags: [] });
          for (const x of c.t) own.t.push(x);
          for (const x of c.counts) own.counts.push(x);
          for (const x of c.scale) own.scale.push(x);
          for (const x of c.flags) own.flags.push(x);
        });
      const { recording, startedAt, channels } = csv.head;
      const none = { t: [], counts: [], scale: [], flags: [] };
      return {
        recording,
        startedAt,
        channels: channels.map((input, k) => ({ input, ...(all[k] ?? none) })),
        ...csv.tail,
      };
    },
    blockRows,
  );
}

/** What comes of a file: what was read, or the refusal. Anything else that is thrown goes on. */
export function outcomeOf(read: () => ReadCsv): ReadCsv | { line: number | null; reason: string } {
  try {
    return read();
  } catch (error) {
    if (error instanceof CsvError) return { line: error.line, reason: error.reason };
    throw error;
  }
}
