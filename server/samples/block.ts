import { crc32c } from './crc32c.ts';
import { ByteReader, ByteWriter } from './bytes.ts';
import type { SampleColumns } from './columns.ts';

/**
 * A run of samples as one compact, self-checking byte string; FORMAT.md describes each byte.
 * Lossless: times and counts come back as the same doubles, scale and flags as they were.
 */

export type BlockErrorCode = 'truncated' | 'corrupt' | 'unknown-codec';

/** The bytes are not an intact block; nothing in them may be read as data. */
export class BlockError extends Error {
  override readonly name = 'BlockError';
  constructor(
    readonly code: BlockErrorCode,
    message: string,
  ) {
    super(message);
  }
}

export interface BlockInfo {
  readonly codec: number;
  readonly count: number;
  /** Earliest and latest time in the block, ms; 0 and 0 when it is empty. */
  readonly fromMs: number;
  readonly toMs: number;
}

const MAGIC = [0x4e, 0x42]; // "NB"
const CODEC = 1;
const HEADER = 28;
const TRAILER = 4;
export const MAX_BLOCK_SAMPLES = 1 << 20;

const TIME = { wholeMs: 0, thousandths: 1, raw: 2 } as const;
const COUNTS = { integers: 0, float32: 1, raw: 2 } as const;

// Differences of differences of numbers up to 2^49 stay exact in a double and in a zigzag varint.
const LARGEST_INTEGER = 2 ** 49;

/**
 * @throws RangeError for a time or count that is not finite, and for more than MAX_BLOCK_SAMPLES samples
 */
export function encodeBlock(c: SampleColumns): Uint8Array {
  if (c.length > MAX_BLOCK_SAMPLES) throw new RangeError('too many samples for one block');
  let from = 0;
  let to = 0;
  for (let i = 0; i < c.length; i++) {
    const t = c.t[i]!;
    if (!Number.isFinite(t) || !Number.isFinite(c.counts[i]!)) throw new RangeError('a sample is not finite');
    if (i === 0 || t < from) from = t;
    if (i === 0 || t > to) to = t;
  }
  const time = timeMode(c.t);
  const counts = countsMode(c.counts);
  const w = new ByteWriter(HEADER + c.length * 3 + 64);
  w.u8(MAGIC[0]!);
  w.u8(MAGIC[1]!);
  w.u8(CODEC);
  w.u8(time | (counts << 4));
  w.u32(c.length);
  w.f64(from);
  w.f64(to);
  w.u32(0); // the body's length, known at the end
  writeTimes(w, c.t, time);
  writeCounts(w, c.counts, counts);
  writeRuns(w, c.scale, c.flags);
  const bodyLength = w.length - HEADER;
  w.u32(0);
  const out = w.bytes().slice();
  const view = new DataView(out.buffer);
  view.setUint32(24, bodyLength, true);
  view.setUint32(out.length - TRAILER, crc32c(out, 0, out.length - TRAILER), true);
  return out;
}

/** @throws BlockError */
export function blockInfo(bytes: Uint8Array): BlockInfo {
  if (bytes.length < HEADER + TRAILER) throw new BlockError('truncated', 'shorter than an empty block');
  if (bytes[0] !== MAGIC[0] || bytes[1] !== MAGIC[1]) throw new BlockError('corrupt', 'not a block');
  const r = new ByteReader(bytes, 24, bytes.length);
  const whole = HEADER + r.u32() + TRAILER;
  if (bytes.length < whole) throw new BlockError('truncated', 'shorter than its header says');
  if (bytes.length > whole) throw new BlockError('corrupt', 'longer than its header says');
  r.at = whole - TRAILER;
  if (r.u32() !== crc32c(bytes, 0, whole - TRAILER)) throw new BlockError('corrupt', 'checksum differs');
  if (bytes[2] !== CODEC) throw new BlockError('unknown-codec', `codec ${bytes[2]} is not known here`);
  r.at = 4;
  const count = r.u32();
  if (count > MAX_BLOCK_SAMPLES) throw new BlockError('corrupt', 'more samples than a block may hold');
  return { codec: CODEC, count, fromMs: r.f64(), toMs: r.f64() };
}

/** @throws BlockError when the bytes are not exactly one intact block */
export function decodeBlock(bytes: Uint8Array): SampleColumns {
  const { count } = blockInfo(bytes);
  const out = {
    length: count,
    t: new Float64Array(count),
    counts: new Float64Array(count),
    scale: new Int8Array(count),
    flags: new Uint16Array(count),
  };
  const end = bytes.length - TRAILER;
  const r = new ByteReader(bytes, HEADER, end);
  try {
    readTimes(r, out.t, bytes[3]! & 0x0f);
    readCounts(r, out.counts, bytes[3]! >> 4);
    readRuns(r, out.scale, out.flags);
    if (r.at !== end) throw new RangeError('bytes left over');
  } catch (error) {
    // The checksum held, so only a faulty writer gets here.
    if (error instanceof RangeError) throw new BlockError('corrupt', error.message);
    throw error;
  }
  return out;
}

/** Whether `x * per` is a whole number that gives back exactly `x`; minus zero (-0 + 0 is 0) never is. */
function isMultiple(x: number, per: number): boolean {
  const k = Math.round(x * per);
  return Math.abs(k) <= LARGEST_INTEGER && Object.is(k / per + 0, x);
}

function timeMode(t: Float64Array): number {
  if (t.every((x) => isMultiple(x, 1))) return TIME.wholeMs;
  return t.every((x) => isMultiple(x, 1000)) ? TIME.thousandths : TIME.raw;
}

function countsMode(counts: Float64Array): number {
  if (counts.every((x) => isMultiple(x, 1))) return COUNTS.integers;
  return counts.every((x) => Object.is(Math.fround(x), x)) ? COUNTS.float32 : COUNTS.raw;
}

/** First time, usual step, then how much each step differs from the usual one. */
function writeTimes(w: ByteWriter, t: Float64Array, mode: number): void {
  if (mode === TIME.raw) {
    for (const x of t) w.f64(x);
    return;
  }
  if (t.length === 0) return;
  const per = mode === TIME.wholeMs ? 1 : 1000;
  const steps = new Float64Array(t.length - 1);
  let last = Math.round(t[0]! * per);
  w.zigzag(last);
  for (let i = 1; i < t.length; i++) {
    const k = Math.round(t[i]! * per);
    steps[i - 1] = k - last;
    last = k;
  }
  const usual = steps.length === 0 ? 0 : steps.toSorted()[steps.length >> 1]!;
  w.zigzag(usual);
  for (const step of steps) w.zigzag(step - usual);
}

function readTimes(r: ByteReader, t: Float64Array, mode: number): void {
  if (mode === TIME.raw) {
    for (let i = 0; i < t.length; i++) t[i] = r.f64();
    return;
  }
  if (mode !== TIME.wholeMs && mode !== TIME.thousandths) throw new RangeError('unknown time mode');
  if (t.length === 0) return;
  const per = mode === TIME.wholeMs ? 1 : 1000;
  let k = r.zigzag();
  const usual = r.zigzag();
  t[0] = k / per;
  for (let i = 1; i < t.length; i++) {
    k += usual + r.zigzag();
    t[i] = k / per;
  }
}

function writeCounts(w: ByteWriter, counts: Float64Array, mode: number): void {
  let last = 0;
  for (const x of counts) {
    if (mode === COUNTS.integers) w.zigzag(x - last);
    else if (mode === COUNTS.float32) w.f32(x);
    else w.f64(x);
    last = x;
  }
}

function readCounts(r: ByteReader, counts: Float64Array, mode: number): void {
  let last = 0;
  for (let i = 0; i < counts.length; i++) {
    if (mode === COUNTS.integers) counts[i] = last += r.zigzag();
    else if (mode === COUNTS.float32) counts[i] = r.f32();
    else if (mode === COUNTS.raw) counts[i] = r.f64();
    else throw new RangeError('unknown counts mode');
  }
}

/** Runs of equal scale and flags: length, scale, flags. */
function writeRuns(w: ByteWriter, scale: Int8Array, flags: Uint16Array): void {
  for (let i = 0; i < scale.length;) {
    let end = i + 1;
    while (end < scale.length && scale[end] === scale[i] && flags[end] === flags[i]) end++;
    w.varint(end - i);
    w.zigzag(scale[i]!);
    w.varint(flags[i]!);
    i = end;
  }
}

function readRuns(r: ByteReader, scale: Int8Array, flags: Uint16Array): void {
  for (let i = 0; i < scale.length;) {
    const end = i + r.varint();
    if (end <= i || end > scale.length) throw new RangeError('a run does not fit');
    const s = r.zigzag();
    const f = r.varint();
    if (s < -128 || s > 127 || f > 0xffff) throw new RangeError('scale or flags out of range');
    scale.fill(s, i, end);
    flags.fill(f, i, end);
    i = end;
  }
}
