import type { Quantity } from '../../drivers/core/reading.ts';
import { BitReader, BitWriter } from '../samples/bits.ts';
import type { Buckets } from '../samples/buckets.ts';
import { ByteReader, ByteWriter } from '../samples/bytes.ts';
import { readRice, writeRice } from '../samples/rice.ts';
import { unzigzag, zigzag } from '../samples/zigzag.ts';
import { coarser, countsOf, outer, valuesOf, type Counted } from './zoomCounts.ts';

/**
 * A stretch of a recording as a chart shows it, as a few kilobytes: ZOOM.md describes each byte. Lowest and highest
 * come back as the same doubles where the meter's digits and the room allow (`exact`); else they are rounded
 * outwards, so that no peak is ever lost.
 */
export interface ZoomChannel extends Buckets {
  readonly channelId: number;
  readonly quantity: Quantity;
  readonly exact: boolean;
}

export interface Zoom {
  readonly fromS: number;
  readonly toS: number;
  readonly buckets: number;
  readonly channels: readonly ZoomChannel[];
}

export const ZOOM_TYPE = 'application/octet-stream';
const [N, Z] = [0x4e, 0x5a];
const VERSION = 1;
const QUANTITIES: readonly Quantity[] = ['voltage', 'current', 'temperature'];
const RAW = 1;
const ROUNDED = 2;
/** Octets that a channel's extremes may take for each bucket; what needs more is made coarser. */
const ROOM = 4;
/** So many numbers share one Rice shift. */
const PIECE = 64;

/** @throws RangeError for a bucket that lies outside the span */
export function encodeZoom({ fromS, toS, buckets, channels }: Zoom): Uint8Array {
  const w = new ByteWriter(16_384);
  for (const octet of [N, Z, VERSION, channels.length]) w.u8(octet);
  w.f64(fromS);
  w.f64(toS);
  w.varint(buckets);
  for (const channel of channels) {
    w.varint(channel.channelId);
    w.u8(QUANTITIES.indexOf(channel.quantity));
    const { counted, bits } = fitted(channel, ROOM * buckets);
    w.u8((channel.raw ? RAW : 0) | (counted.exact ? 0 : ROUNDED));
    w.varint(channel.t.length);
    if (!channel.raw) writeFilled(w, channel.t, { fromS, toS, buckets });
    w.zigzag(counted.scale);
    w.varint(counted.step);
    w.varint(bits.length);
    w.raw(bits);
  }
  return w.bytes().slice();
}

/** @throws RangeError when the bytes are not exactly one picture of this version */
export function decodeZoom(bytes: Uint8Array): Zoom {
  const r = new ByteReader(bytes, 0, bytes.length);
  if (r.u8() !== N || r.u8() !== Z || r.u8() !== VERSION) throw new RangeError('not a picture');
  const count = r.u8();
  const span = { fromS: r.f64(), toS: r.f64(), buckets: r.varint() };
  const channels = Array.from({ length: count }, (): ZoomChannel => {
    const channelId = r.varint();
    const quantity = QUANTITIES[r.u8()];
    if (quantity === undefined) throw new RangeError('unknown quantity');
    const kind = r.u8();
    const n = r.varint();
    if (n > span.buckets) throw new RangeError('too many entries');
    const raw = (kind & RAW) !== 0;
    const filled = raw ? null : readFilled(r, n, span);
    const scale = r.zigzag();
    const step = r.varint();
    const length = r.varint();
    const bits = new BitReader(bytes, r.skip(length), r.at);
    const low = readDeltas(bits, n);
    const high = raw ? low : outer(low, readPieces(bits, n));
    const t = filled ?? readDeltas(bits, n).map((us) => us / 1e6);
    const at = { scale, step };
    const min = valuesOf(low, at);
    const exact = (kind & ROUNDED) === 0;
    return { channelId, quantity, exact, raw, t, min, max: raw ? min : valuesOf(high, at) };
  });
  if (r.at !== bytes.length) throw new RangeError('bytes left over');
  return { ...span, channels };
}

/** The extremes as counts and as bits, made coarser until they fit; single readings are never made coarser. */
function fitted(channel: ZoomChannel, room: number): { counted: Counted; bits: Uint8Array } {
  let counted = countsOf(channel);
  for (;;) {
    const bits = bitsOf(counted, channel);
    if (channel.raw || bits.length <= room) return { counted, bits };
    const tooMany = (8 * (bits.length - room)) / (2 * counted.low.length);
    counted = coarser(counted, 2 ** Math.max(1, Math.floor(tooMany)));
  }
}

function bitsOf({ low, high }: Counted, { raw, t }: ZoomChannel): Uint8Array {
  const bits = new BitWriter();
  writeDeltas(bits, low);
  if (raw)
    writeDeltas(
      bits,
      t.map((s) => Math.round(s * 1e6)),
    );
  else
    writePieces(
      bits,
      high.map((x, i) => x - low[i]!),
    );
  return bits.bytes();
}

function writeDeltas(bits: BitWriter, x: Float64Array): void {
  writePieces(
    bits,
    x.map((v, i) => zigzag(i === 0 ? v : v - x[i - 1]!)),
  );
}

function readDeltas(bits: BitReader, n: number): Float64Array {
  let last = 0;
  return readPieces(bits, n).map((z) => (last += unzigzag(z)));
}

/** The first number alone, for its size says nothing of the steps that follow. */
function writePieces(bits: BitWriter, z: Float64Array): void {
  writeRice(bits, z.subarray(0, 1));
  for (let i = 1; i < z.length; i += PIECE) writeRice(bits, z.subarray(i, i + PIECE));
}

function readPieces(bits: BitReader, n: number): Float64Array {
  const z = new Float64Array(n);
  readRice(bits, z.subarray(0, 1));
  for (let i = 1; i < n; i += PIECE) readRice(bits, z.subarray(i, i + PIECE));
  return z;
}

type Span = Pick<Zoom, 'fromS' | 'toS' | 'buckets'>;

/** By turns how many buckets hold a reading and how many hold none, beginning with those that do. */
function writeFilled(w: ByteWriter, t: Float64Array, { fromS, toS, buckets }: Span): void {
  const width = (toS - fromS) / buckets;
  const runs: number[] = [];
  let next = 0;
  for (const s of t) {
    const at = width > 0 ? Math.floor((s - fromS) / width) : 0;
    if (!(at >= next && at < buckets)) throw new RangeError('a bucket lies outside the picture');
    if (at > next || runs.length === 0) {
      if (runs.length === 0) runs.push(0);
      if (at > next) runs.push(at - next, 0);
    }
    runs[runs.length - 1]!++;
    next = at + 1;
  }
  w.varint(runs.length);
  for (const run of runs) w.varint(run);
}

function readFilled(r: ByteReader, n: number, { fromS, toS, buckets }: Span): Float64Array {
  const width = (toS - fromS) / buckets;
  const t = new Float64Array(n);
  let i = 0;
  let at = 0;
  const runs = r.varint();
  for (let k = 0; k < runs; k++) {
    const run = r.varint();
    if (run > buckets - at || (k % 2 === 0 && run > n - i)) throw new RangeError('buckets do not fit');
    if (k % 2 === 0) for (let j = 0; j < run; j++) t[i++] = fromS + (at + j + 0.5) * width;
    at += run;
  }
  if (i !== n) throw new RangeError('buckets are missing');
  return t;
}
