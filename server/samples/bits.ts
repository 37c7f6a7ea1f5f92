/** Numbers of any number of bits up to 53 one after another, lowest bit first, in a growing byte string. */
export class BitWriter {
  private buffer = new Uint8Array(1024);
  private length = 0;
  private held = 0;
  private heldBits = 0;

  /** Appends the lowest `bits` bits of the unsigned integer `n`. */
  write(n: number, bits: number): void {
    // Bit operators work on 32 bits only, so a long number goes in two parts.
    if (bits > 24) {
      this.write(n % 0x1000000, 24);
      this.write(Math.floor(n / 0x1000000), bits - 24);
      return;
    }
    this.held |= n << this.heldBits;
    this.heldBits += bits;
    while (this.heldBits >= 8) {
      this.byte(this.held & 0xff);
      this.held >>>= 8;
      this.heldBits -= 8;
    }
  }

  /** All that was written, the last byte filled up with zeros. */
  bytes(): Uint8Array {
    if (this.heldBits > 0) this.byte(this.held & 0xff);
    this.held = this.heldBits = 0;
    return this.buffer.subarray(0, this.length);
  }

  private byte(b: number): void {
    if (this.length === this.buffer.length) {
      const larger = new Uint8Array(this.buffer.length * 2);
      larger.set(this.buffer);
      this.buffer = larger;
    }
    this.buffer[this.length++] = b;
  }
}

/** Reads what BitWriter wrote. @throws RangeError past the end */
export class BitReader {
  private held = 0;
  private heldBits = 0;

  constructor(
    private readonly bytes: Uint8Array,
    private at: number,
    private readonly end: number,
  ) {}

  read(bits: number): number {
    if (bits > 24) {
      const low = this.read(24);
      return low + this.read(bits - 24) * 0x1000000;
    }
    while (this.heldBits < bits) {
      if (this.at >= this.end) throw new RangeError('ends too early');
      this.held |= this.bytes[this.at++]! << this.heldBits;
      this.heldBits += 8;
    }
    const n = this.held & ((1 << bits) - 1);
    this.held >>>= bits;
    this.heldBits -= bits;
    return n;
  }
}
