import { isAscii } from 'node:buffer';
import { Gunzip } from 'minizlib';
import type { ByteSource } from './byteSource.ts';
import { CsvReason } from './csvError.ts';

/** Longest text that is read from one file: a month of ten readings a second needs a gigabyte at most. */
const MAX_TEXT_BYTES = 4 * 2 ** 30;

/** Text that carries no mark of its encoding is read as UTF-8 if all of it is, else as Windows-1252. */
export type Unmarked = 'utf-8' | 'windows-1252';

/** The bytes were presumed to be UTF-8 and are not. */
export class NotUtf8 extends Error {
  override readonly name = 'NotUtf8';
}

/**
 * The file's text as UTF-8 without its byte order mark, in pieces that hold until the next is taken: gzip is
 * unpacked; UTF-16 (with its mark, as spreadsheets write it) and Windows-1252 are brought to UTF-8.
 * @throws CsvReason, NotUtf8
 */
export function* textPieces(source: ByteSource, unmarked: Unmarked): Generator<Uint8Array> {
  let toUtf8: ((piece: Uint8Array) => Uint8Array) | null = null;
  let length = 0;
  for (let piece of withHead(unpacked(source.pieces()))) {
    length += piece.length;
    if (length > MAX_TEXT_BYTES) throw new CsvReason('the unpacked file is larger than 4 GiB', 'file');
    if (toUtf8 === null) {
      const mark = markOf(piece);
      if (mark === 'utf-8') piece = piece.subarray(3);
      toUtf8 = mark === 'utf-8' ? (text) => text : converter(mark ?? unmarked);
    }
    yield toUtf8(piece);
  }
  // What a decoder still holds is half a character.
  if (toUtf8 !== null) yield toUtf8(new Uint8Array(0));
}

function converter(encoding: Unmarked | 'utf-16le' | 'utf-16be'): (piece: Uint8Array) => Uint8Array {
  if (encoding === 'utf-8') return checkUtf8();
  const decoder = new TextDecoder(encoding);
  const encoder = new TextEncoder();
  return (piece) => encoder.encode(decoder.decode(piece, { stream: piece.length > 0 }));
}

/** Passes UTF-8 through. */
function checkUtf8(): (piece: Uint8Array) => Uint8Array {
  const decoder = new TextDecoder('utf-8', { fatal: true });
  let plain = true;
  return (piece) => {
    plain &&= isAscii(piece);
    if (plain) return piece;
    try {
      decoder.decode(piece, { stream: piece.length > 0 });
    } catch {
      throw new NotUtf8();
    }
    return piece;
  };
}

function markOf(text: Uint8Array): 'utf-8' | 'utf-16le' | 'utf-16be' | null {
  if (text[0] === 0xef && text[1] === 0xbb && text[2] === 0xbf) return 'utf-8';
  if (text[0] === 0xff && text[1] === 0xfe) return 'utf-16le';
  return text[0] === 0xfe && text[1] === 0xff ? 'utf-16be' : null;
}

/** The same bytes, the first piece long enough to hold any mark. */
function* withHead(pieces: Iterable<Uint8Array>): Generator<Uint8Array> {
  let head: Uint8Array | null = new Uint8Array(0);
  for (const piece of pieces) {
    if (head === null) {
      yield piece;
      continue;
    }
    head = Buffer.concat([head, piece]);
    if (head.length < 4) continue;
    yield head;
    head = null;
  }
  if (head !== null && head.length > 0) yield head;
}

const PORTION = 1 << 14;

function* unpacked(packed: Iterable<Uint8Array>): Generator<Uint8Array> {
  let gunzip: Gunzip | null = null;
  let ready: Uint8Array[] = [];
  let first = true;
  for (const piece of withHead(packed)) {
    if (first && piece[0] === 0x1f && piece[1] === 0x8b) {
      gunzip = new Gunzip({});
      gunzip.on('data', (text) => ready.push(text));
    }
    first = false;
    if (gunzip === null) {
      yield piece;
      continue;
    }
    // In small portions, because a thousand times as much may come out.
    for (let at = 0; at < piece.length; at += PORTION) {
      inflating(gunzip, (g) => g.write(Buffer.from(piece.subarray(at, at + PORTION))));
      yield* ready;
      ready = [];
    }
  }
  if (gunzip === null) return;
  inflating(gunzip, (g) => g.end());
  yield* ready;
}

function inflating(gunzip: Gunzip, work: (gunzip: Gunzip) => unknown): void {
  try {
    work(gunzip);
  } catch {
    throw new CsvReason('the gzip data are damaged or cut off', 'file');
  }
}
