import { closeSync, openSync, readSync } from 'node:fs';
import { NightdrawError } from '../messages/errors.ts';

/** Bytes that can be read from the beginning as often as needed, in pieces. A piece holds until the next is taken. */
export interface ByteSource {
  pieces(): Iterable<Uint8Array>;
}

const PIECE = 1 << 18;

export function sourceOf(bytes: Uint8Array, piece = PIECE): ByteSource {
  return {
    *pieces() {
      for (let at = 0; at < bytes.length; at += piece) yield bytes.subarray(at, at + piece);
    },
  };
}

/** A file; each reading opens it anew. @throws NightdrawError not-found, unreadable-file */
export function fileSource(file: string): ByteSource {
  return {
    *pieces() {
      const handle = reading(file, () => openSync(file, 'r'));
      try {
        const buffer = new Uint8Array(PIECE);
        for (;;) {
          const length = reading(file, () => readSync(handle, buffer));
          if (length === 0) return;
          yield buffer.subarray(0, length);
        }
      } finally {
        closeSync(handle);
      }
    },
  };
}

/** The first bytes, fewer where there are no more. */
export function firstBytes(source: ByteSource, length: number): Uint8Array {
  const head: number[] = [];
  for (const piece of source.pieces()) {
    head.push(...piece.subarray(0, length - head.length));
    if (head.length === length) break;
  }
  return Uint8Array.from(head);
}

/** Runs `work` on a file and turns what the system says into a sentence. @throws NightdrawError */
export function reading<T>(file: string, work: () => T): T {
  try {
    return work();
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
