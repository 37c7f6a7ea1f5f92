import { FLOAT32, isLive, valueOf } from '../../drivers/core/reading.ts';
import { BitReader, BitWriter } from './bits.ts';
import { ByteReader, ByteWriter } from './bytes.ts';
import { crc32c } from './crc32c.ts';
import type { Instants } from './instants.ts';
import { readRice, writeRice } from './rice.ts';
import { unzigzag, zigzag } from './zigzag.ts';

/** Instants under one entry of the pyramid's base. */
export const BASE = 32;

/** Older ones, without a checksum, began with their number of entries, which is never 0. */
const MARK = [0x00, 0x02];
const TRAILER = 4;

/** Entry by entry a span of time that holds its samples and, of each channel, what its live samples amount to. */
export interface Base {
  /** Milliseconds; rounded outwards once it was encoded, by less than a sixteenth of an entry. */
  readonly from: Float64Array;
  readonly to: Float64Array;
  readonly channels: readonly BaseChannel[];
}

export interface BaseChannel {
  /** In the channel's unit; NaN where no sample is live. */
  readonly min: Float64Array;
  readonly max: Float64Array;
  readonly sum: Float64Array;
  readonly live: Float64Array;
  /** The scale of all samples, where they are integers of one scale; else null. */
  readonly scale: number | null;
}

export function baseOf(block: Instants): Base {
  const n = Math.ceil(block.length / BASE);
  const from = new Float64Array(n).fill(Infinity);
  const to = new Float64Array(n).fill(-Infinity);
  for (let i = 0; i < block.length; i++) {
    const k = (i / BASE) | 0;
    const x = block.t[i]!;
    if (x < from[k]!) from[k] = x;
    if (x > to[k]!) to[k] = x;
  }
  const channels = block.channels.map(({ rows, counts, scale, flags }): BaseChannel => {
    const one = scaleOf(counts, scale);
    const min = new Float64Array(n);
    const max = new Float64Array(n);
    const sum = new Float64Array(n);
    const live = new Float64Array(n);
    for (let k = 0, i = 0; k < n; k++) {
      // Where each instant has a sample, the entry's samples are the next 32.
      const end = rows === null ? Math.min((k + 1) * BASE, counts.length) : endOf(rows, i, (k + 1) * BASE);
      let [low, high, total, some] = [Infinity, -Infinity, 0, 0];
      for (; i < end; i++) {
        if (!isLive(flags[i]!)) continue;
        const y = one === null ? valueOf(counts[i]!, scale[i]!) : counts[i]!;
        if (y < low) low = y;
        if (y > high) high = y;
        total += y;
        some++;
      }
      [min[k], max[k], sum[k], live[k]] = [low, high, total, some];
    }
    for (let k = 0; k < n; k++) {
      if (live[k] === 0) min[k] = max[k] = NaN;
      else if (one !== null) for (const column of [min, max, sum]) column[k] = valueOf(column[k]!, one);
    }
    return { min, max, sum, live, scale: one };
  });
  return { from, to, channels };
}

/** The place of the first row from `from` on that is not below `row`. */
function endOf(rows: Uint32Array, from: number, row: number): number {
  let i = from;
  while (i < rows.length && rows[i]! < row) i++;
  return i;
}

/** Small enough that sums of a whole block stay exact. */
const LARGEST = 2 ** 30;

/** The one scale of integers that a double's power of ten holds exactly, or null. */
export function scaleOf(counts: Float64Array, scale: Int8Array): number | null {
  const first = scale[0] ?? 0;
  if (first >= FLOAT32 || Math.abs(first) > 22) return null;
  for (let i = 0; i < counts.length; i++) {
    const x = counts[i]!;
    if (scale[i] !== first || !Number.isInteger(x) || x > LARGEST || x < -LARGEST || Object.is(x, -0))
      return null;
  }
  return first;
}

/** Null where times are too far apart for a unit: such a pyramid is made from its block each time. */
export function encodeBase({ from, to, channels }: Base): Uint8Array | null {
  const n = from.length;
  const w = new ByteWriter(1024);
  for (const x of MARK) w.u8(x);
  w.varint(n);
  if (n === 0) return sealed(w);
  const unit = unitOf(from, to);
  const bits = new BitWriter();
  const firsts = from.map((x) => Math.floor(x / unit));
  const lasts = to.map((x) => Math.ceil(x / unit));
  const holds = (k: number) =>
    Math.max(Math.abs(firsts[k]!), Math.abs(lasts[k]!)) < FARTHEST &&
    firsts[k]! * unit <= from[k]! &&
    lasts[k]! * unit >= to[k]!;
  for (let k = 0; k < n; k++) if (!holds(k)) return null;
  w.f64(unit);
  // Where times never go back, an entry ends at the latest where the next one begins.
  const inOrder = from.every((x, k) => k === 0 || to[k - 1]! <= x);
  w.u8(inOrder ? 1 : 0);
  w.f64(firsts[0]!);
  w.f64(lasts[n - 1]!);
  const usual = n < 2 ? 0 : Math.round((firsts[n - 1]! - firsts[0]!) / (n - 1));
  w.f64(usual);
  writeRice(
    bits,
    firsts.map((x, k) => (k === 0 ? 0 : zigzag(x - firsts[k - 1]! - usual))),
  );
  if (!inOrder)
    writeRice(
      bits,
      lasts.map((x, k) => x - firsts[k]!),
    );
  for (const channel of channels) {
    w.u8(channel.scale === null ? 0 : 1);
    if (channel.scale === null) for (const column of columnsOf(channel)) for (const x of column) w.f64(x);
    else {
      w.zigzag(channel.scale);
      writeDigits(bits, channel, channel.scale);
    }
  }
  w.raw(bits.bytes());
  return sealed(w);
}

function sealed(w: ByteWriter): Uint8Array {
  w.u32(crc32c(w.bytes()));
  return w.bytes().slice();
}

/** The base of a block of so many instants. @throws RangeError */
export function decodeBase(bytes: Uint8Array, instants: number, channels: number): Base {
  const end = bytes.length - TRAILER;
  if (end < MARK.length || MARK.some((x, i) => bytes[i] !== x))
    throw new RangeError('not a pyramid of today');
  const r = new ByteReader(bytes, end, bytes.length);
  if (r.u32() !== crc32c(bytes, 0, end)) throw new RangeError('the checksum differs');
  r.at = MARK.length;
  const n = r.varint();
  if (n !== Math.ceil(instants / BASE)) throw new RangeError('of another block');
  const column = () => new Float64Array(n);
  const [from, to] = [column(), column()];
  const blank = Array.from({ length: channels }, () => ({
    min: column(),
    max: column(),
    sum: column(),
    live: column(),
  }));
  if (n === 0) return { from, to, channels: blank.map((c) => ({ ...c, scale: 0 })) };
  const unit = r.f64();
  const inOrder = r.u8() === 1;
  const first = r.f64();
  const last = r.f64();
  const usual = r.f64();
  const out = blank.map((columns): BaseChannel => {
    if (r.u8() === 1) return { ...columns, scale: r.zigzag() };
    for (const c of columnsOf(columns)) for (let i = 0; i < n; i++) c[i] = r.f64();
    return { ...columns, scale: null };
  });
  const bits = new BitReader(bytes, r.at, end);
  const z = column();
  readRice(bits, z);
  for (let k = 0, at = first; k < n; k++) from[k] = at += k === 0 ? 0 : usual + unzigzag(z[k]!);
  if (!inOrder) {
    readRice(bits, z);
    for (let k = 0; k < n; k++) to[k] = from[k]! + z[k]!;
  } else {
    for (let k = 0; k + 1 < n; k++) to[k] = from[k + 1]! + 1;
    to[n - 1] = last;
  }
  for (let k = 0; k < n; k++) {
    from[k]! *= unit;
    to[k]! *= unit;
  }
  for (const channel of out) if (channel.scale !== null) readDigits(bits, channel, channel.scale);
  return { from, to, channels: out };
}

const FIRST_BITS = 53;
/** Steps between multiples of the unit stay exact, also as zigzags. */
const FARTHEST = 2 ** 50;
type Columns = Pick<BaseChannel, 'min' | 'max' | 'sum' | 'live'>;

function columnsOf({ min, max, sum, live }: Columns): Float64Array[] {
  return [min, max, sum, live];
}

/** A power of two, about a thirty-second of an entry, so that an entry's bounds take a bit or two. */
function unitOf(from: Float64Array, to: Float64Array): number {
  let low = Infinity;
  let high = -Infinity;
  for (let k = 0; k < from.length; k++) {
    low = Math.min(low, from[k]!);
    high = Math.max(high, to[k]!);
  }
  const entry = (high - low) / from.length / 32;
  // Far from zero the unit must be no finer than what a double holds.
  const coarse = Math.max(Math.abs(low), Math.abs(high)) / 2 ** 40;
  return 2 ** Math.floor(Math.log2(Math.max(entry, coarse, 2 ** -60)));
}

/** Lowest, highest above it, and sum as steps from the entry before, and how many samples are missing. */
function writeDigits(bits: BitWriter, { min, max, sum, live }: Columns, scale: number): void {
  const n = min.length;
  const digits = (y: number) => Math.round(scale < 0 ? y * 10 ** -scale : y / 10 ** scale) + 0;
  const [low, span, total] = [new Float64Array(n), new Float64Array(n), new Float64Array(n)];
  let lastLow = 0;
  let lastHeight = 0;
  let lastSum = 0;
  for (let k = 0; k < n; k++) {
    if (live[k] === 0) continue;
    const a = digits(min[k]!);
    const s = digits(sum[k]!);
    low[k] = zigzag(a - lastLow);
    const height = digits(max[k]!) - a;
    span[k] = zigzag(height - lastHeight);
    lastHeight = height;
    total[k] = zigzag(s - lastSum);
    lastLow = a;
    lastSum = s;
  }
  for (const column of [low, span, total]) {
    // The first one is no step, and its size says nothing of the others.
    bits.write(column[0]!, FIRST_BITS);
    writeRice(bits, column.subarray(1));
  }
  writeRice(
    bits,
    live.map((m) => BASE - m),
  );
}

function readDigits(bits: BitReader, { min, max, sum, live }: Columns, scale: number): void {
  for (const column of [min, max, sum]) {
    column[0] = bits.read(FIRST_BITS);
    readRice(bits, column.subarray(1));
  }
  readRice(bits, live);
  let low = 0;
  let height = 0;
  let total = 0;
  for (let k = 0; k < min.length; k++) {
    live[k] = BASE - live[k]!;
    low += unzigzag(min[k]!);
    height += unzigzag(max[k]!);
    total += unzigzag(sum[k]!);
    const some = live[k]! > 0;
    max[k] = some ? valueOf(low + height, scale) : NaN;
    min[k] = some ? valueOf(low, scale) : NaN;
    sum[k] = some ? valueOf(total, scale) : 0;
  }
}
