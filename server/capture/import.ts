import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import path from 'node:path';
import { NightdrawError } from '../messages/errors.ts';
import type { Recording } from '../messages/records.ts';
import type { Store } from '../store/store.ts';
import { parseCsv, type ParsedCsv } from './csv.ts';

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
 * Reads a CSV file (its path or its bytes) into the store as one recording: all of it, or nothing.
 * @throws CsvError (unreadable-file) with file, line and reason; NightdrawError not-found, store-full, store-failed
 */
export function importCsvFile(store: Store, source: string | Uint8Array, options: ImportOptions): Recording {
  const bytes = typeof source === 'string' ? readBytes(source) : source;
  const name = options.name ?? (typeof source === 'string' ? path.basename(source) : 'file.csv');
  const parsed = parseCsv(bytes, name);
  const sum = createHash('sha256').update(bytes).digest('hex');
  const provenance = options.provenance ?? `Imported from ${name}, SHA-256 ${sum}.`;
  return storeParsed(store, parsed, { ...options, name, provenance });
}

function storeParsed(
  store: Store,
  parsed: ParsedCsv,
  options: ImportOptions & { readonly name: string; readonly provenance: string },
): Recording {
  const own = parsed.recording;
  return store.atomically(() => {
    const { id, channels } = store.createRecording({
      caseId: options.caseId,
      kind: 'imported',
      title: (options.title ?? own?.title ?? options.name.replace(/(\.csv)?(\.gz)?$/i, '')).slice(0, 120),
      startedAt: parsed.startedAt ?? options.startedAt ?? null,
      zone: own?.zone ?? null,
      provenance: [own?.provenance, options.provenance].filter(Boolean).join('\n').slice(0, 4000),
      state: 'recording',
      channels: parsed.channels.map((channel) => channel.input),
    });
    store.commit({
      recordingId: id,
      samples: parsed.channels.map(({ columns }, i) => ({ channelId: channels[i]!.id, columns })),
      gaps: parsed.gaps.map(({ channel, ...gap }) => ({ ...gap, channelId: channels[channel]!.id })),
      events: parsed.events,
      batch: null,
    });
    return store.stopRecording(id, parsed.durationMs);
  });
}

/** @throws NightdrawError not-found, unreadable-file */
export function readBytes(file: string): Uint8Array {
  try {
    return readFileSync(file);
  } catch (error) {
    const { code } = error as { code?: string };
    if (code === 'ENOENT') throw new NightdrawError('not-found', `There is no file ${file}.`);
    throw new NightdrawError(
      'unreadable-file',
      code === 'EISDIR'
        ? `${file} is a folder; name a file.`
        : `${file} cannot be read (${code ?? 'unknown'}).`,
    );
  }
}
