import { CsvReason } from './csvError.ts';

const QUOTE = 0x22;
const LF = 0x0a;
const CR = 0x0d;
const SPACE = 0x20;
const HASH = 0x23;

export const MAX_FIELDS = 256;
/** No line is longer: a quote that is never closed must not fill the memory. */
const MAX_LINE_BYTES = 1 << 24;
const HEAD_BYTES = 1 << 16;

/**
 * Walks over the rows of a CSV text (RFC 4180, with any one-byte delimiter) that comes in pieces, without making a
 * string of any field. After `next()` the fields of the row are `bytes[start[i]..end[i])`, quotes and outer blanks
 * taken off; they hold until the next call.
 */
export class CsvRows {
  /** Line on which the present row begins, from 1. */
  line = 0;
  /** Number of fields in the present row. */
  fields = 0;
  readonly start = new Uint32Array(MAX_FIELDS);
  readonly end = new Uint32Array(MAX_FIELDS);
  /** A window of the text, with a line end after its last byte so that every search ends. */
  bytes: Uint8Array = new Uint8Array(0);
  private filled = 0;
  private ended = false;
  private at = 0;
  private nextLine = 1;
  private readonly pieces: Iterator<Uint8Array, unknown>;
  private readonly delimiter: number;
  /** Not 0 for the bytes at which a field without quotes ends. */
  private readonly ends = new Uint8Array(256);

  /** The delimiter is settled by the first line that is neither blank nor a comment. */
  constructor(pieces: Iterable<Uint8Array>) {
    this.pieces = pieces[Symbol.iterator]();
    while (this.filled < HEAD_BYTES && this.more());
    this.delimiter = delimiterOf(headerLine(this.bytes.subarray(0, Math.min(this.filled, HEAD_BYTES))));
    for (const byte of [this.delimiter, LF, CR]) this.ends[byte] = 1;
  }

  /** Stops reading; for whoever does not read to the end. */
  close(): void {
    this.pieces.return?.();
  }

  /**
   * Goes to the next row that is neither blank nor a comment (#); false at the end.
   * @throws CsvReason (with `line` set) for broken quoting
   */
  next(): boolean {
    for (;;) {
      if (this.at >= this.filled && !this.more()) return false;
      const from = this.at;
      this.line = this.nextLine;
      const isComment = this.bytes[from] === HASH;
      const isWhole = isComment ? this.skipLine() : this.row();
      if (!isWhole || (this.at >= this.filled && !this.ended)) {
        // The line goes on in the next piece, or may: it is read again from its beginning.
        this.at = from;
        this.nextLine = this.line;
        this.more();
      } else if (!isComment && !this.isBlank()) return true;
    }
  }

  text(field: number): string {
    const text = decoder.decode(this.bytes.subarray(this.start[field], this.end[field]));
    // A doubled quote stands for one, inside quotes only; outside them the text has none.
    return text.includes('""') ? text.replaceAll('""', '"') : text;
  }

  isEmpty(field: number): boolean {
    return field >= this.fields || this.start[field] === this.end[field];
  }

  private isBlank(): boolean {
    for (let i = 0; i < this.fields; i++) if (!this.isEmpty(i)) return false;
    return true;
  }

  /** Takes the next piece into the window; false where there is none. */
  private more(): boolean {
    const rest = this.filled - this.at;
    if (rest > MAX_LINE_BYTES)
      throw new CsvReason('the line does not end within 16 MiB; is a quote opened and never closed?');
    const next = this.pieces.next();
    if (next.done === true) {
      this.ended = true;
      return false;
    }
    const piece = next.value;
    const needed = rest + piece.length + 1;
    const old = this.bytes;
    if (needed > old.length) this.bytes = new Uint8Array(2 * needed);
    this.bytes.set(old.subarray(this.at, this.filled));
    this.bytes.set(piece, rest);
    this.at = 0;
    this.filled = rest + piece.length;
    this.bytes[this.filled] = LF;
    return true;
  }

  private skipLine(): boolean {
    let at = this.at;
    while (this.bytes[at] !== LF && this.bytes[at] !== CR) at++;
    this.endLine(at);
    return true;
  }

  /** Whether the row could be read without knowing what comes after the window. */
  private row(): boolean {
    const { bytes, delimiter, ends, start, end } = this;
    let at = this.at;
    let fields = 0;
    for (;;) {
      if (fields === MAX_FIELDS) throw new CsvReason(`the line has more than ${MAX_FIELDS} fields`);
      while (bytes[at] === SPACE) at++;
      if (bytes[at] === QUOTE) {
        at = this.quoted(at, fields++);
        if (at < 0) return false;
      } else {
        const first = at;
        while (ends[bytes[at]!] === 0) at++;
        let last = at;
        while (last > first && bytes[last - 1] === SPACE) last--;
        start[fields] = first;
        end[fields++] = last;
      }
      if (bytes[at] !== delimiter) break;
      at++;
    }
    this.fields = fields;
    this.endLine(at);
    return true;
  }

  private endLine(at: number): void {
    if (at < this.filled && this.bytes[at] === CR) at++;
    if (at < this.filled && this.bytes[at] === LF) at++;
    this.at = at;
    this.nextLine++;
  }

  /** Reads the field that begins with the quote at `from`; gives where it ends, or -1 where that is not known yet. */
  private quoted(from: number, field: number): number {
    const { bytes, filled } = this;
    let at = from + 1;
    for (;;) {
      const byte = bytes[at];
      if (byte === LF) {
        if (at >= filled) {
          if (!this.ended) return -1;
          throw new CsvReason('a quote is opened and never closed');
        }
        this.nextLine++;
      }
      if (byte === QUOTE) {
        if (bytes[at + 1] !== QUOTE) break;
        at++;
      }
      at++;
    }
    let last = at++;
    while (last > from + 1 && bytes[last - 1] === SPACE) last--;
    this.start[field] = from + 1;
    this.end[field] = last;
    while (bytes[at] === SPACE) at++;
    const after = bytes[at];
    if (after !== this.delimiter && after !== LF && after !== CR)
      throw new CsvReason('there is text after a closing quote');
    return at;
  }
}

const decoder = new TextDecoder();

/** The first line that is neither blank nor a comment. */
function headerLine(head: Uint8Array): string {
  const lines = decoder.decode(head).split(/\r?\n|\r/);
  return lines.find((line) => line.trim() !== '' && !line.startsWith('#')) ?? '';
}

/** The delimiter of a header line: the first of semicolon, tab and comma that stands outside quotes. */
function delimiterOf(line: string): number {
  const outside = line.replace(/"[^"]*"/g, '');
  for (const sign of [';', '\t', ',']) if (outside.includes(sign)) return sign.charCodeAt(0);
  return ','.charCodeAt(0);
}
