/** Growing little-endian writer of variable-length integers and IEEE 754 numbers. */
export class ByteWriter {
  private buffer: Uint8Array;
  private view: DataView;
  length = 0;

  constructor(capacity: number) {
    this.buffer = new Uint8Array(Math.max(capacity, 64));
    this.view = new DataView(this.buffer.buffer);
  }

  private room(more: number): void {
    if (this.length + more <= this.buffer.length) return;
    const larger = new Uint8Array(Math.max(this.buffer.length * 2, this.length + more));
    larger.set(this.buffer);
    this.buffer = larger;
    this.view = new DataView(larger.buffer);
  }

  u8(n: number): void {
    this.room(1);
    this.buffer[this.length++] = n;
  }

  u16s(all: Uint16Array): void {
    this.room(2 * all.length);
    const { buffer } = this;
    let at = this.length;
    for (let i = 0; i < all.length; i++) {
      buffer[at++] = all[i]! & 0xff;
      buffer[at++] = all[i]! >>> 8;
    }
    this.length = at;
  }

  raw(bytes: Uint8Array): void {
    this.room(bytes.length);
    this.buffer.set(bytes, this.length);
    this.length += bytes.length;
  }

  u32(n: number): void {
    this.room(4);
    this.view.setUint32(this.length, n, true);
    this.length += 4;
  }

  /** Writes over what stands at `at`. */
  setU32(at: number, n: number): void {
    this.view.setUint32(at, n, true);
  }

  f32(n: number): void {
    this.room(4);
    this.view.setFloat32(this.length, n, true);
    this.length += 4;
  }

  f64(n: number): void {
    this.room(8);
    this.view.setFloat64(this.length, n, true);
    this.length += 8;
  }

  /** Unsigned LEB128 of an integer in 0 .. 2^53-1. */
  varint(n: number): void {
    this.room(8);
    // Bit operators work on 32 bits only, so the upper part of a large number goes by division.
    while (n > 0x7fffffff) {
      this.buffer[this.length++] = (n % 128) | 0x80;
      n = Math.floor(n / 128);
    }
    while (n > 0x7f) {
      this.buffer[this.length++] = (n & 0x7f) | 0x80;
      n >>>= 7;
    }
    this.buffer[this.length++] = n;
  }

  /** Zigzag LEB128 of an integer in -2^52 .. 2^52-1: 0, -1, 1, -2, ... become 0, 1, 2, 3, ... */
  zigzag(n: number): void {
    this.varint(n < 0 ? -2 * n - 1 : 2 * n);
  }

  /** A view of what was written. */
  bytes(): Uint8Array {
    return this.buffer.subarray(0, this.length);
  }
}

/** Reads what ByteWriter wrote. @throws RangeError past the end, or where a number is longer than 53 bits. */
export class ByteReader {
  private readonly view: DataView;

  constructor(
    readonly bytes: Uint8Array,
    public at: number,
    private readonly end: number,
  ) {
    this.view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  }

  private take(n: number): number {
    const at = this.at;
    if (at + n > this.end) throw new RangeError('ends too early');
    this.at = at + n;
    return at;
  }

  u8(): number {
    return this.view.getUint8(this.take(1));
  }

  /** Steps over `n` bytes and returns where they begin. */
  skip(n: number): number {
    return this.take(n);
  }

  u16s(n: number): Uint16Array {
    const { bytes } = this;
    let at = this.take(2 * n);
    const out = new Uint16Array(n);
    for (let i = 0; i < n; i++, at += 2) out[i] = bytes[at]! | (bytes[at + 1]! << 8);
    return out;
  }

  u32(): number {
    return this.view.getUint32(this.take(4), true);
  }

  f32(): number {
    return this.view.getFloat32(this.take(4), true);
  }

  f64(): number {
    return this.view.getFloat64(this.take(8), true);
  }

  varint(): number {
    let n = 0;
    let weight = 1;
    for (;;) {
      if (this.at >= this.end) throw new RangeError('ends too early');
      const byte = this.bytes[this.at++]!;
      n += (byte & 0x7f) * weight;
      if (byte < 0x80) break;
      weight *= 128;
      if (weight > 2 ** 49) throw new RangeError('number too long');
    }
    if (n > Number.MAX_SAFE_INTEGER) throw new RangeError('number too long');
    return n;
  }

  zigzag(): number {
    const n = this.varint();
    return n % 2 === 0 ? n / 2 : -(n + 1) / 2;
  }
}
