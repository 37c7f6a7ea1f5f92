import { BitReader, BitWriter } from './bits.ts';
import type { ByteReader, ByteWriter } from './bytes.ts';
import { bitLength, DIRECT, extraBits, integerOf, TOKENS, tokenOf } from './tokens.ts';

/**
 * Range asymmetric numeral system over unsigned integers: each is a token, coded with the frequencies of its
 * context in this run of numbers, and for a large one some bits as they are. Two states take turns, so that a
 * processor can work on two numbers at a time. FORMAT.md, "Coded numbers".
 */

export const FREQ_BITS = 11;
const TOTAL = 1 << FREQ_BITS;
export const SLOT_MASK = TOTAL - 1;
/** A state lies in [LOW, LOW * 2^16), so that it stays a small integer. */
export const LOW = 1 << 15;

/** Roughly the bits that these numbers take, tables included. */
export function costOf(z: Float64Array, context: Uint8Array, contexts: number): number {
  const seen = new Uint32Array(contexts * TOKENS);
  let bits = 0;
  for (let i = 0; i < z.length; i++) {
    const x = z[i]!;
    if (x < DIRECT) seen[context[i]! * TOKENS + x]!++;
    else {
      const token = tokenOf(x);
      seen[context[i]! * TOKENS + token]!++;
      bits += extraBits(token);
    }
  }
  for (let c = 0; c < contexts; c++) {
    let all = 0;
    for (let s = c * TOKENS; s < (c + 1) * TOKENS; s++) all += seen[s]!;
    for (let s = c * TOKENS; s < (c + 1) * TOKENS; s++) {
      const n = seen[s]!;
      if (n > 0) bits += n * Math.log2(all / n) + 10;
    }
  }
  return bits;
}

/** Frequencies that sum to TOTAL, at least 1 for each token that was seen. */
function normalised(seen: Uint32Array): Uint16Array {
  const all = seen.reduce((a, b) => a + b, 0);
  const out = new Uint16Array(seen.length);
  if (all === 0) return out;
  let sum = 0;
  for (let s = 0; s < seen.length; s++) {
    if (seen[s] === 0) continue;
    out[s] = Math.max(1, Math.round((seen[s]! * TOTAL) / all));
    sum += out[s]!;
  }
  // What rounding left over goes to the likeliest tokens, which feel it least.
  while (sum !== TOTAL) {
    const largest = out.reduce((best, f, s) => (f > out[best]! ? s : best), 0);
    const step = sum < TOTAL ? TOTAL - sum : -Math.min(sum - TOTAL, out[largest]! >> 1);
    out[largest]! += step;
    sum += step;
  }
  return out;
}

function writeTable(bits: BitWriter, freq: Uint16Array): void {
  const first = freq.findIndex((f) => f > 0);
  bits.write(first < 0 ? 0 : 1, 1);
  if (first < 0) return;
  const last = freq.findLastIndex((f) => f > 0);
  bits.write(first, 8);
  bits.write(last, 8);
  for (let s = first; s <= last; s++) {
    const size = bitLength(freq[s]!);
    bits.write(size, 4);
    if (size > 1) bits.write(freq[s]! - (1 << (size - 1)), size - 1);
  }
}

/** Slots of all contexts: token, frequency - 1 and place within the frequency, packed in 8, 11 and 11 bits. */
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
        const slot = s | ((freq - 1) << 8);
        for (let k = 0; k < freq; k++) slots[at++] = slot + (k << 19);
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
  const symbols = new Uint16Array(n);
  const seen = new Uint32Array(contexts * TOKENS);
  let large = 0;
  for (let i = 0; i < n; i++) {
    const x = z[i]!;
    const token = x < DIRECT ? x : tokenOf(x);
    if (token >= DIRECT) large++;
    const s = (symbols[i] = context[i]! * TOKENS + token);
    seen[s]!++;
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
  for (let i = 0; i < n && large > 0; i++) {
    if (z[i]! < DIRECT) continue;
    large--;
    const extra = extraBits(tokenOf(z[i]!));
    bits.write(z[i]! % 2 ** extra, extra);
  }
  const words = new Uint16Array(n + 2);
  let at = words.length;
  let own = LOW;
  let other = LOW;
  // Backwards, so that the reader goes forwards; the states take turns.
  for (let i = n - 1; i >= 0; i--) {
    const s = symbols[i]!;
    const f = freq[s]!;
    let x = own;
    if (x >= f * ((LOW >> FREQ_BITS) << 16)) {
      words[--at] = x & 0xffff;
      x >>>= 16;
    }
    const q = (x / f) | 0;
    x = (q << FREQ_BITS) + (x - q * f) + start[s]!;
    own = other;
    other = x;
  }
  // Now `other` is the state of number 0.
  const packed = bits.bytes();
  w.varint(packed.length);
  w.raw(packed);
  w.varint(words.length - at);
  w.u32(other);
  w.u32(own);
  w.u16s(words.subarray(at));
}

/**
 * A run of coded numbers that is being read. The fields are for the loops that decode: see `next`, which does one
 * step of what they do inline.
 */
export class NumberRun {
  readonly slots: Int32Array;
  readonly bits: BitReader;
  readonly words: Uint16Array;
  /** The state of the next number, and that of the one behind it. */
  state: number;
  other: number;
  at = 0;

  /** Leaves `r` after the run. @throws RangeError */
  constructor(r: ByteReader, contexts: number) {
    const packed = r.varint();
    const from = r.skip(packed);
    this.bits = new BitReader(r.bytes, from, from + packed);
    this.slots = readTables(this.bits, contexts);
    const n = r.varint();
    this.state = r.u32();
    this.other = r.u32();
    this.words = r.u16s(n);
    for (const x of [this.state, this.other])
      if (x < LOW || x >= LOW * 0x10000) throw new RangeError('the state is out of range');
  }

  /** The next integer. @throws RangeError */
  next(context: number): number {
    const x = this.state;
    const slot = this.slots[(context << FREQ_BITS) | (x & SLOT_MASK)]!;
    let state = Math.imul(((slot >>> 8) & SLOT_MASK) + 1, x >>> FREQ_BITS) + (slot >>> 19);
    if (state < LOW) state = (state << 16) | this.words[this.at++]!;
    this.state = this.other;
    this.other = state;
    const token = slot & 0xff;
    return token < DIRECT ? token : this.large(token);
  }

  /** The next `n` integers, all of context 0. @throws RangeError */
  all(n: number): Float64Array {
    const { slots, words } = this;
    let { state, other, at } = this;
    const out = new Float64Array(n);
    for (let i = 0; i < n; i++) {
      const slot = slots[state & SLOT_MASK]!;
      let after = Math.imul(((slot >>> 8) & SLOT_MASK) + 1, state >>> FREQ_BITS) + (slot >>> 19);
      if (after < LOW) after = (after << 16) | words[at++]!;
      state = other;
      other = after;
      const token = slot & 0xff;
      out[i] = token < DIRECT ? token : this.large(token);
    }
    [this.state, this.other, this.at] = [state, other, at];
    return out;
  }

  large(token: number): number {
    if (token === NO_TOKEN) throw new RangeError('a context without a table');
    return integerOf(token, this.bits);
  }

  /** To be called after the last number. @throws RangeError where the run is not used up */
  end(state = this.state, other = this.other, at = this.at): void {
    if (at !== this.words.length || state !== LOW || other !== LOW) throw new RangeError('numbers left over');
  }
}
