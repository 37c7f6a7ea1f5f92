import { FLOAT32, FLOAT64 } from '../../drivers/core/reading.ts';
import { CsvReason } from './csvError.ts';

const COMMA = 0x2c;
const POINT = 0x2e;
const TEN_TO = Float64Array.from({ length: 23 }, (_, k) => Number(`1e${k}`));

/**
 * Reads decimal numbers out of bytes with the digits as they stand: "12.630" is 12630 and -3. One decimal mark
 * is used throughout a file; the first number that has one settles which.
 */
export class DecimalReader {
  /** The value just read is `counts` x 10^`scale`; or `counts` itself where `scale` is FLOAT64. */
  counts = 0;
  scale = 0;
  private mark = 0;
  private negative = false;
  private mantissa = 0;
  private power = 0;
  /** The nearest double, where the digits are more than an integer holds; else null. */
  private nearest: number | null = null;

  /**
   * Reads a value into `counts` and `scale`.
   * @param shift power of ten of the unit's prefix, added to the scale: -3 for milliamperes
   * @throws CsvReason where the bytes are no number, or one that no scale holds
   */
  read(bytes: Uint8Array, start: number, end: number, shift: number): void {
    this.parse(bytes, start, end, shift);
    const magnitude = this.nearest ?? this.mantissa;
    this.counts = this.negative ? -magnitude : magnitude;
    this.scale = this.nearest === null ? this.power : FLOAT64;
    // A scale is one signed byte whose two highest values mean a binary float.
    const fits = this.nearest === null ? this.power >= -128 && this.power < FLOAT32 : magnitude < Infinity;
    if (!fits) throw outOfRange(bytes, start, end);
  }

  /** The number times 10^`shift` as the nearest double. @throws CsvReason */
  readDouble(bytes: Uint8Array, start: number, end: number, shift: number): number {
    this.parse(bytes, start, end, shift);
    const { mantissa, power } = this;
    let size = this.nearest;
    // Up to 10^22 a double holds the power of ten exactly, so one operation rounds once.
    if (size === null && Math.abs(power) > 22) size = Number(`${mantissa}e${power}`);
    size ??= power < 0 ? mantissa / TEN_TO[-power]! : mantissa * TEN_TO[power]!;
    if (size === Infinity) throw outOfRange(bytes, start, end);
    return this.negative ? -size : size;
  }

  private parse(bytes: Uint8Array, start: number, end: number, shift: number): void {
    let at = start;
    this.negative = false;
    if (bytes[at] === 0x2d || bytes[at] === 0x2b) {
      this.negative = bytes[at] === 0x2d;
      at++;
    } else if (bytes[at] === 0xe2 && bytes[at + 1] === 0x88 && bytes[at + 2] === 0x92) {
      this.negative = true; // U+2212, the minus sign of typesetters
      at += 3;
    }
    const digitsFrom = at;
    let mantissa = 0;
    let markAt = -1;
    for (; at < end; at++) {
      const byte = bytes[at]!;
      if (byte >= 0x30 && byte <= 0x39) mantissa = mantissa * 10 + (byte - 0x30);
      else if ((byte === POINT || byte === COMMA) && markAt < 0) {
        this.settleMark(byte);
        markAt = at;
      } else break;
    }
    if (at - digitsFrom === (markAt < 0 ? 0 : 1)) throw notNumber(bytes, start, end);
    const exponent = shift + (at < end ? readExponent(bytes, start, at, end) : 0);
    this.mantissa = mantissa;
    this.power = markAt < 0 ? exponent : exponent - (at - markAt - 1);
    this.nearest = null;
    if (mantissa <= Number.MAX_SAFE_INTEGER) return;
    const text = ascii(bytes, digitsFrom, at).replace(',', '.');
    this.nearest = Number(`${text}e${exponent}`);
  }

  private settleMark(byte: number): void {
    if (this.mark === 0) this.mark = byte;
    if (this.mark !== byte)
      throw new CsvReason('the decimal mark changes within the file; use a point or a comma throughout');
  }
}

function readExponent(bytes: Uint8Array, start: number, at: number, end: number): number {
  const text = end - at > 6 ? '' : ascii(bytes, at, end);
  if (!/^e[+-]?\d{1,4}$/i.test(text)) throw notNumber(bytes, start, end);
  return Number(text.slice(1));
}

function ascii(bytes: Uint8Array, start: number, end: number): string {
  if (end - start > 1000) throw notNumber(bytes, start, end);
  return String.fromCharCode(...bytes.subarray(start, end));
}

function shown(bytes: Uint8Array, start: number, end: number): string {
  const text = new TextDecoder().decode(bytes.subarray(start, Math.min(end, start + 40)));
  return end > start + 40 ? `${text}...` : text;
}

function notNumber(bytes: Uint8Array, start: number, end: number): CsvReason {
  return new CsvReason(`"${shown(bytes, start, end)}" is not a number`);
}

function outOfRange(bytes: Uint8Array, start: number, end: number): CsvReason {
  return new CsvReason(`"${shown(bytes, start, end)}" is out of range`);
}
