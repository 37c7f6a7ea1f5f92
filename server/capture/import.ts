import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import path from 'node:path';
import type { Recording } from '../messages/records.ts';
import type { Store } from '../store/store.ts';
import { fileSource, reading, sourceOf, type ByteSource } from './byteSource.ts';
import { readCsv, type CsvFile } from './csv.ts';

export interface ImportOptions {
  /** The file's name, as errors and the recording show it; a path's own name where left out. */
  readonly name?: string;
  readonly caseId: string | null;
  readonly title?: string;
  readonly provenance?: string;
  /** UTC start where the file does not tell it. */
  readonly startedAt?: string;
}

/**
 * Reads a CSV file (its path or its bytes) into the store as one recording: all of it, or nothing. Memory does not
 * grow with a file that is named by its path.
 * @throws CsvError (unreadable-file) with file, line and reason; NightdrawError not-found, store-full, store-failed
 */
export function importCsvFile(store: Store, source: string | Uint8Array, options: ImportOptions): Recording {
  const bytes = typeof source === 'string' ? fileSource(source) : sourceOf(source);
  const name = options.name ?? (typeof source === 'string' ? path.basename(source) : 'file.csv');
  const provenance = options.provenance ?? `Imported from ${name}, SHA-256 ${sha256Of(bytes)}.`;
  return readCsv(bytes, name, (csv) =>
    store.atomically(() => storeCsv(store, csv, { ...options, name, provenance })),
  );
}

function storeCsv(
  store: Store,
  csv: CsvFile,
  options: ImportOptions & { readonly name: string; readonly provenance: string },
): Recording {
  let made: Recording | null = null;
  for (const columns of csv.blocks()) {
    const { id, channels } = (made ??= begin(store, csv, options));
    const samples = columns.map((c, k) => ({ channelId: channels[k]!.id, columns: c }));
    store.commit({ recordingId: id, samples, gaps: [], events: [], batch: null });
  }
  const { durationMs, events, gaps } = csv.tail;
  const { id, channels } = made ?? begin(store, csv, options);
  store.commit({
    recordingId: id,
    samples: [],
    gaps: gaps.map(({ channel, ...gap }) => ({ ...gap, channelId: channels[channel]!.id })),
    events,
    batch: null,
  });
  return store.stopRecording(id, durationMs);
}

function begin(
  store: Store,
  { head }: CsvFile,
  options: ImportOptions & { readonly name: string; readonly provenance: string },
): Recording {
  const own = head.recording;
  return store.createRecording({
    caseId: options.caseId,
    kind: 'imported',
    title: (options.title ?? own?.title ?? options.name.replace(/(\.csv)?(\.gz)?$/i, '')).slice(0, 120),
    startedAt: head.startedAt ?? options.startedAt ?? null,
    zone: own?.zone ?? null,
    provenance: [own?.provenance, options.provenance].filter(Boolean).join('\n').slice(0, 4000),
    state: 'recording',
    channels: head.channels,
  });
}

function sha256Of(source: ByteSource): string {
  const hash = createHash('sha256');
  for (const piece of source.pieces()) hash.update(piece);
  return hash.digest('hex');
}

/** @throws NightdrawError not-found, unreadable-file */
export function readBytes(file: string): Uint8Array {
  return reading(file, () => readFileSync(file));
}
