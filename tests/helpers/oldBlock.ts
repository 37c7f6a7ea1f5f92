import { ByteWriter } from '../../server/samples/bytes.ts';
import type { SampleColumns } from '../../server/samples/columns.ts';
import { crc32c } from '../../server/samples/crc32c.ts';

const MAGIC = [0x4e, 0x42]; // "NB"
const CODEC = 1;
const HEADER = 28;
const TRAILER = 4;

const TIME = { wholeMs: 0, thousandths: 1, raw: 2 } as const;
const COUNTS = { integers: 0, float32: 1, raw: 2 } as const;

// Differences of differences of numbers up to 2^49 stay exact in a double and in a zigzag varint.
const LARGEST_INTEGER = 2 ** 49;

/** Writes a block of codec 1, as databases of version 1 hold them. @throws RangeError for what is not finite */
export function encodeBlock(c: SampleColumns): Uint8Array {
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

function writeCounts(w: ByteWriter, counts: Float64Array, mode: number): void {
  let last = 0;
  for (const x of counts) {
    if (mode === COUNTS.integers) w.zigzag(x - last);
    else if (mode === COUNTS.float32) w.f32(x);
    else w.f64(x);
    last = x;
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
