import { BitReader, BitWriter } from './bits.ts';
import type { ByteReader, ByteWriter } from './bytes.ts';

/**
 * Range asymmetric numeral system over unsigned integers: each is a token, coded with the frequencies of its
 * context in this run of numbers, and for a large one some bits as they are. FORMAT.md, "Coded numbers".
 */

export const FREQ_BITS = 12;
const TOTAL = 1 << FREQ_BITS;
export const SLOT_MASK = TOTAL - 1;
/** The state lies in [LOW, LOW * 2^16), so that it stays a small integer. */
export const LOW = 1 << 15;

/** Integers below it are tokens themselves; the others are told by their length and their three highest bits. */
export const DIRECT = 64;
const DIRECT_BITS = 6;
const TOKENS = DIRECT + (53 - DIRECT_BITS) * 4;

function bitLength(z: number): number {
  return z < 0x80000000 ? 32 - Math.clz32(z) : 64 - Math.clz32(Math.floor(z / 2 ** 32));
}

/** The token of an integer from 0 to 2^53 - 1. */
export function tokenOf(z: number): number {
  if (z < DIRECT) return z;
  const bits = bitLength(z);
  return DIRECT + (bits - DIRECT_BITS - 1) * 4 + (Math.floor(z / 2 ** (bits - 3)) & 3);
}

/** How many bits follow a token of DIRECT or more. */
export function extraBits(token: number): number {
  return token < DIRECT ? 0 : ((token - DIRECT) >> 2) + DIRECT_BITS + 1 - 3;
}

/** The integer of a token, given its extra bits. */
export function integerOf(token: number, bits: BitReader): number {
  const extra = extraBits(token);
  return (4 + ((token - DIRECT) & 3)) * 2 ** extra + bits.read(extra);
}

/** Roughly the bits that these numbers take, tables included. */
export function costOf(z: Float64Array, context: Uint8Array, contexts: number): number {
  const seen = new Uint32Array(contexts * TOKENS);
  let bits = 0;
  for (let i = 0; i < z.length; i++) {
    const token = tokenOf(z[i]!);
    seen[context[i]! * TOKENS + token]!++;
    bits += extraBits(token);
  }
  for (let c = 0; c < contexts; c++) {
    const own = seen.subarray(c * TOKENS, (c + 1) * TOKENS);
    const all = own.reduce((a, b) => a + b, 0);
    for (const n of own) if (n > 0) bits += n * Math.log2(all / n) + 10;
  }
  return bits;
}

/** Frequencies that sum to TOTAL, at least 1 for each token that was seen. */
function normalised(seen: Uint32Array): Uint16Array {
  const all = seen.reduce((a, b) => a + b, 0);
  const out = new Uint16Array(seen.length);
  if (all === 0) return out;
  let sum = 0;
  let largest = 0;
  for (let s = 0; s < seen.length; s++) {
    if (seen[s] === 0) continue;
    out[s] = Math.max(1, Math.round((seen[s]! * TOTAL) / all));
    sum += out[s]!;
    if (out[s]! > out[largest]!) largest = s;
  }
  // What rounding left over goes to the likeliest tokens, which feel it least.
  while (sum !== TOTAL) {
    largest = out.reduce((best, f, s) => (f > out[best]! ? s : best), 0);
    const step = sum < TOTAL ? TOTAL - sum : -Math.min(sum - TOTAL, out[largest]! >> 1);
    out[largest]! += step;
    sum += step;
  }
  return out;
}

function writeTable(bits: BitWriter, freq: Uint16Array): void {
  const used = freq.reduce((n, f) => n + (f > 0 ? 1 : 0), 0);
  bits.write(used > 0 ? 1 : 0, 1);
  if (used === 0) return;
  const first = freq.findIndex((f) => f > 0);
  const last = freq.findLastIndex((f) => f > 0);
  bits.write(first, 8);
  bits.write(last, 8);
  for (let s = first; s <= last; s++) {
    const size = bitLength(freq[s]!);
    bits.write(size, 4);
    if (size > 1) bits.write(freq[s]! - (1 << (size - 1)), size - 1);
  }
}

/** Slots of all contexts: token, frequency - 1 and place within the frequency, packed in 8, 12 and 12 bits. */
function readTables(bits: BitReader, contexts: number): Int32Array {
  const slots = new Int32Array(contexts * TOTAL);
  for (let c = 0; c < contexts; c++) {
    let at = c * TOTAL;
    const end = at + TOTAL;
    if (bits.read(1) === 1) {
      const first = bits.read(8);
      const last = bits.read(8);
      for (let s = first; s <= last; s++) {
        const size = bits.read(4);
        const freq = size < 2 ? size : (1 << (size - 1)) + bits.read(size - 1);
        if (at + freq > end || s >= TOKENS) throw new RangeError('a table does not fit');
        for (let k = 0, slot = s | ((freq - 1) << 8); k < freq; k++) slots[at++] = slot | (k << 20);
      }
      if (at !== end) throw new RangeError('a table is not full');
    }
    // A context without a table must not be used; its slots lead to a token that no writer makes.
    else slots.fill(NO_TOKEN, at, end);
  }
  return slots;
}
const NO_TOKEN = 0xff;

/** Writes the integers `z` (0 to 2^53 - 1), each in its context below `contexts`. */
export function writeNumbers(w: ByteWriter, z: Float64Array, context: Uint8Array, contexts: number): void {
  const n = z.length;
  const tokens = new Uint8Array(n);
  const seen = new Uint32Array(contexts * TOKENS);
  for (let i = 0; i < n; i++) {
    const token = (tokens[i] = tokenOf(z[i]!));
    seen[context[i]! * TOKENS + token]!++;
  }
  const bits = new BitWriter();
  const freq = new Uint16Array(contexts * TOKENS);
  const start = new Uint16Array(contexts * TOKENS);
  for (let c = 0; c < contexts; c++) {
    const own = normalised(seen.subarray(c * TOKENS, (c + 1) * TOKENS));
    writeTable(bits, own);
    freq.set(own, c * TOKENS);
    for (let s = 0, sum = 0; s < TOKENS; sum += own[s]!, s++) start[c * TOKENS + s] = sum;
  }
  for (let i = 0; i < n; i++) {
    const extra = extraBits(tokens[i]!);
    if (extra > 0) bits.write(z[i]! % 2 ** extra, extra);
  }
  const words = new Uint16Array(n + 2);
  let at = words.length;
  let x = LOW;
  for (let i = n - 1; i >= 0; i--) {
    const s = context[i]! * TOKENS + tokens[i]!;
    const f = freq[s]!;
    if (x >= f * ((LOW >> FREQ_BITS) << 16)) {
      words[--at] = x & 0xffff;
      x >>>= 16;
    }
    const q = (x / f) | 0;
    x = (q << FREQ_BITS) + (x - q * f) + start[s]!;
  }
  const packed = bits.bytes();
  w.varint(packed.length);
  w.raw(packed);
  w.varint(words.length - at);
  w.u32(x);
  for (; at < words.length; at++) w.u16(words[at]!);
}

/**
 * A run of coded numbers that is being read. The fields are for the loops that decode: see `next`, which does one
 * step of what they do inline.
 */
export class NumberRun {
  readonly slots: Int32Array;
  readonly bits: BitReader;
  readonly words: Uint16Array;
  state: number;
  at = 0;

  /** Leaves `r` after the run. @throws RangeError */
  constructor(r: ByteReader, contexts: number) {
    const packed = r.varint();
    const from = r.skip(packed);
    this.bits = new BitReader(r.bytes, from, from + packed);
    this.slots = readTables(this.bits, contexts);
    const n = r.varint();
    this.state = r.u32();
    this.words = r.u16s(n);
    if (this.state < LOW || this.state >= LOW * 0x10000) throw new RangeError('the state is out of range');
  }

  /** The next integer. @throws RangeError */
  next(context: number): number {
    const x = this.state;
    const slot = this.slots[(context << FREQ_BITS) | (x & SLOT_MASK)]!;
    let state = Math.imul(((slot >>> 8) & SLOT_MASK) + 1, x >> FREQ_BITS) + (slot >>> 20);
    if (state < LOW) state = (state << 16) | this.words[this.at++]!;
    this.state = state;
    const token = slot & 0xff;
    return token < DIRECT ? token : this.large(token);
  }

  large(token: number): number {
    if (token === NO_TOKEN) throw new RangeError('a context without a table');
    return integerOf(token, this.bits);
  }

  /** To be called after the last number. @throws RangeError where the run is not used up */
  end(state = this.state, at = this.at): void {
    if (at !== this.words.length || state !== LOW) throw new RangeError('numbers left over');
  }
}
