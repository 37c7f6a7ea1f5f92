import { BitReader } from './bits.ts';
import type { ByteReader } from './bytes.ts';
import { DIRECT, integerOf, TOKENS } from './tokens.ts';
import { unzigzag } from './zigzag.ts';

/** Reading of what only codec 2 wrote: its coded numbers and its counts beside a level. FORMAT.md, "Codec 2". */

const TOTAL = 4096;
const LOW = 1 << 15;

/** A run of coded numbers with one state. */
export class NumberRun2 {
  private readonly tables: { readonly token: number; readonly start: number; readonly freq: number }[][];
  private readonly bits: BitReader;
  private readonly words: Uint16Array;
  private state: number;
  private at = 0;

  /** Leaves `r` after the run. @throws RangeError */
  constructor(r: ByteReader, contexts: number) {
    const packed = r.varint();
    const from = r.skip(packed);
    this.bits = new BitReader(r.bytes, from, from + packed);
    this.tables = Array.from({ length: contexts }, () => this.table());
    const n = r.varint();
    this.state = r.u32();
    this.words = r.u16s(n);
    if (this.state < LOW || this.state >= LOW * 0x10000) throw new RangeError('the state is out of range');
  }

  /** The next integer. @throws RangeError */
  next(context: number): number {
    const place = this.state % TOTAL;
    const found = this.tables[context]!.find((e) => place < e.start + e.freq);
    if (found === undefined) throw new RangeError('a context without a table');
    const { token, start, freq } = found;
    this.state = freq * Math.floor(this.state / TOTAL) + place - start;
    if (this.state < LOW) this.state = this.state * 0x10000 + (this.words[this.at++] ?? 0);
    return token < DIRECT ? token : integerOf(token, this.bits);
  }

  all(n: number): Float64Array {
    return new Float64Array(n).map(() => this.next(0));
  }

  /** To be called after the last number. @throws RangeError where the run is not used up */
  end(): void {
    if (this.at !== this.words.length || this.state !== LOW) throw new RangeError('numbers left over');
  }

  private table() {
    const table: { token: number; start: number; freq: number }[] = [];
    if (this.bits.read(1) === 0) return table;
    const first = this.bits.read(8);
    const last = this.bits.read(8);
    let start = 0;
    for (let token = first; token <= last; token++) {
      const size = this.bits.read(4);
      const freq = size < 2 ? size : (1 << (size - 1)) + this.bits.read(size - 1);
      if (freq > 0) table.push({ token, start, freq });
      start += freq;
    }
    if (start !== TOTAL || last >= TOKENS) throw new RangeError('a table does not fit');
    return table;
  }
}

const CONTEXTS = 6;
const AWAY = 8;

/** Mode 3 of the counts. @throws RangeError */
export function readLevels2(r: ByteReader, counts: Float64Array): void {
  const near = r.zigzag();
  const gain = r.u8();
  const run = new NumberRun2(r, CONTEXTS);
  let level = 0; // in 1/64 count
  let away = 1;
  let last = 0;
  let jumped = 0;
  for (let i = 0; i < counts.length; i++) {
    const home = (level + 32) >> 6;
    const atHome = away === 0;
    const off = unzigzag(run.next(atHome ? ((level + 32) >> 4) & 3 : 4 + jumped)) | 0;
    const x = ((atHome ? home : last) + off) | 0;
    counts[i] = x;
    jumped = off > near || off < -near ? 1 : 0;
    const e = x - home;
    if (e <= near && e >= -near) {
      away = 0;
      level += ((x << 6) - level) >> gain;
    } else if (near >= 0 && ++away > AWAY && jumped === 0) {
      away = 0;
      level = x << 6;
    } else if (away === 0) away = 1;
    last = x;
  }
  run.end();
}
