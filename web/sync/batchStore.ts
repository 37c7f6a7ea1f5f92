import type { BatchBody } from './batchCut.ts';
import type { KnownMeter } from './meterKeys.ts';

/** The batches of one meter for one recording. */
export interface Stream {
  readonly id: string;
  readonly recordingId: string;
  readonly meterKey: string;
  /** `seq` of the next batch; the first is 1. */
  readonly nextSeq: number;
  /** See numbering.ts. */
  readonly shift: number;
  /** The last reading's place on the recording's axis, milliseconds; null before the first. */
  readonly lastMs: number | null;
}

export interface StoredBatch {
  readonly seq: number;
  readonly body: BatchBody;
  readonly samples: number;
  /** Wall clock when it was put here, for its age only. */
  readonly utcMs: number;
}

export interface Waiting {
  readonly streamId: string;
  readonly batches: number;
  readonly samples: number;
  readonly oldestUtcMs: number;
}

export function streamId(recordingId: string, meterKey: string): string {
  return `${recordingId}|${meterKey}`;
}

/** The stream was forgotten: its recording was deleted, or the browser's storage cleared. */
export class NoStream extends Error {
  override readonly name = 'NoStream';
}

/** Where batches wait until the server has them. Each method is one whole step: all of it happens, or none. */
export interface BatchStore {
  /** False where a reload loses everything. */
  readonly survivesReload: boolean;
  /** Makes the stream where there is none yet. */
  openStream(
    recordingId: string,
    meterKey: string,
  ): Promise<{ readonly stream: Stream; readonly fresh: boolean }>;
  streams(): Promise<readonly Stream[]>;
  /** @throws NoStream */
  append(id: string, body: BatchBody, utcMs: number): Promise<StoredBatch>;
  /** The oldest waiting batch with its stream; null when nothing waits. */
  head(id: string): Promise<{ readonly stream: Stream; readonly batch: StoredBatch } | null>;
  /** @throws NoStream */
  setShift(id: string, shift: number): Promise<void>;
  /** Forgets a batch and counts on with this shift. */
  remove(id: string, seq: number, shift: number): Promise<void>;
  /** Forgets a stream with all that waits in it. */
  drop(id: string): Promise<void>;
  waiting(): Promise<readonly Waiting[]>;

  meters(): Promise<readonly KnownMeter[]>;
  keepMeter(meter: KnownMeter): Promise<void>;
  close(): void;
}
