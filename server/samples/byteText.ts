import { FLOAT32 } from '../../drivers/core/reading.ts';
import { numberText, secondsText } from './text.ts';

const MINUS = 0x2d;
const POINT = 0x2e;
const ZERO = 0x30;
/** Room that the longest number takes, with some to spare. */
const NUMBER = 64;
const TEN_TO = Int32Array.from({ length: 10 }, (_, k) => 10 ** k);
const LARGEST = 2 ** 31 - 1;

/**
 * Text as bytes, written into one buffer after another without making strings of common numbers. Numbers read as
 * `numberText` and `secondsText` write them.
 */
export class ByteText {
  private bytes: Uint8Array;
  private at = 0;

  constructor(private readonly size: number) {
    this.bytes = new Uint8Array(size);
  }

  get isFull(): boolean {
    return this.at > this.size - 4096;
  }

  /** What was written since the last call. */
  take(): Uint8Array {
    const taken = this.bytes.subarray(0, this.at);
    this.bytes = new Uint8Array(this.size);
    this.at = 0;
    return taken;
  }

  /** What was written, where nothing more is. */
  written(): Uint8Array {
    return this.bytes.subarray(0, this.at);
  }

  byte(byte: number): void {
    if (this.at === this.bytes.length) this.makeRoom(1);
    this.bytes[this.at++] = byte;
  }

  /** Letters, digits and signs of ASCII, as numbers, names of columns and flags are. */
  ascii(text: string): void {
    this.makeRoom(text.length);
    for (let i = 0; i < text.length; i++) this.bytes[this.at++] = text.charCodeAt(i);
  }

  octets(octets: Uint8Array): void {
    this.makeRoom(octets.length);
    this.bytes.set(octets, this.at);
    this.at += octets.length;
  }

  /** Milliseconds as seconds. */
  seconds(ms: number): void {
    if (!(Number.isInteger(ms) && ms >= 0 && ms < LARGEST * 1000) || Object.is(ms, -0)) {
      this.ascii(secondsText(ms));
      return;
    }
    const whole = Math.floor(ms / 1000);
    this.makeRoom(NUMBER);
    this.digits(whole, 1);
    this.bytes[this.at++] = POINT;
    this.digits(ms - whole * 1000, 3);
  }

  /** `counts` x 10^`scale`. */
  number(counts: number, scale: number): void {
    const size = counts < 0 ? -counts : counts;
    const plain = size <= LARGEST && (size | 0) === size && scale <= 0 && scale > -10 && scale < FLOAT32;
    if (!plain || Object.is(counts, -0)) {
      this.ascii(numberText(counts, scale));
      return;
    }
    this.makeRoom(NUMBER);
    if (counts < 0) this.bytes[this.at++] = MINUS;
    const unit = TEN_TO[-scale]!;
    const whole = (size / unit) | 0;
    this.digits(whole, 1);
    if (scale === 0) return;
    this.bytes[this.at++] = POINT;
    this.digits((size | 0) - whole * unit, -scale);
  }

  /** An integer from 0 to 2^31 - 1 with at least so many digits. */
  private digits(x: number, least: number): void {
    let length = least;
    while (length < 10 && x >= TEN_TO[length]!) length++;
    const { bytes } = this;
    let rest = x | 0;
    for (let i = this.at + length - 1; i >= this.at; i--) {
      const tenth = (rest / 10) | 0;
      bytes[i] = ZERO + rest - tenth * 10;
      rest = tenth;
    }
    this.at += length;
  }

  private makeRoom(length: number): void {
    if (this.at + length <= this.bytes.length) return;
    const larger = new Uint8Array(2 * (this.at + length));
    larger.set(this.bytes.subarray(0, this.at));
    this.bytes = larger;
  }
}
