import { CsvReason } from './csvError.ts';

const QUOTE = 0x22;
const LF = 0x0a;
const CR = 0x0d;
const SPACE = 0x20;
const HASH = 0x23;

/**
 * Walks over the rows of a CSV text (RFC 4180, with any one-byte delimiter) without making a string of any field.
 * After `next()` the fields of the row are `bytes[start[i]..end[i])`, quotes and outer blanks taken off.
 */
export class CsvRows {
  /** Line on which the present row begins, from 1. */
  line = 0;
  /** Number of fields in the present row. */
  fields = 0;
  readonly start = new Uint32Array(MAX_FIELDS);
  readonly end = new Uint32Array(MAX_FIELDS);
  private at = 0;
  private nextLine = 1;

  constructor(
    readonly bytes: Uint8Array,
    private readonly delimiter: number,
  ) {}

  /**
   * Goes to the next row that is neither blank nor a comment (#); false at the end.
   * @throws CsvReason (with `line` set) for broken quoting
   */
  next(): boolean {
    while (this.at < this.bytes.length) {
      this.line = this.nextLine;
      const comment = this.bytes[this.at] === HASH;
      if (comment) this.skipLine();
      else this.row();
      if (!comment && !this.isBlank()) return true;
    }
    return false;
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

  private skipLine(): void {
    const end = this.bytes.indexOf(LF, this.at);
    this.at = end < 0 ? this.bytes.length : end + 1;
    this.nextLine++;
  }

  private row(): void {
    const { bytes, delimiter } = this;
    this.fields = 0;
    for (;;) {
      if (this.fields === MAX_FIELDS) throw new CsvReason(`the line has more than ${MAX_FIELDS} fields`);
      let at = this.at;
      while (bytes[at] === SPACE) at++;
      if (bytes[at] === QUOTE) {
        this.at = at;
        this.quoted();
      } else {
        this.start[this.fields] = at;
        let byte = bytes[at];
        while (byte !== delimiter && byte !== LF && byte !== CR && byte !== undefined) byte = bytes[++at];
        this.at = at;
        let end = at;
        while (end > this.start[this.fields]! && bytes[end - 1] === SPACE) end--;
        this.end[this.fields++] = end;
      }
      if (bytes[this.at] !== delimiter) break;
      this.at++;
    }
    if (bytes[this.at] === CR) this.at++;
    if (bytes[this.at] === LF) this.at++;
    this.nextLine++;
  }

  private quoted(): void {
    const { bytes } = this;
    let at = this.at + 1;
    this.start[this.fields] = at;
    for (;;) {
      const byte = bytes[at];
      if (byte === undefined) throw new CsvReason('a quote is opened and never closed');
      if (byte === LF) this.nextLine++;
      if (byte === QUOTE) {
        if (bytes[at + 1] !== QUOTE) break;
        at++;
      }
      at++;
    }
    let end = at++;
    while (end > this.start[this.fields]! && bytes[end - 1] === SPACE) end--;
    this.end[this.fields++] = end;
    while (bytes[at] === SPACE) at++;
    const after = bytes[at];
    if (after !== this.delimiter && after !== LF && after !== CR && after !== undefined)
      throw new CsvReason('there is text after a closing quote');
    this.at = at;
  }
}

export const MAX_FIELDS = 256;
const decoder = new TextDecoder();

/** The delimiter of a header line: the first of semicolon, tab and comma that stands outside quotes. */
export function delimiterOf(line: string): number {
  const outside = line.replace(/"[^"]*"/g, '');
  for (const sign of [';', '\t', ',']) if (outside.includes(sign)) return sign.charCodeAt(0);
  return ','.charCodeAt(0);
}
