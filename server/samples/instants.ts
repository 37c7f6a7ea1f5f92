import { isLive, valueOf } from '../../drivers/core/reading.ts';
import {
  BlockError,
  blockError,
  blockInfo,
  decodeBlock,
  MAX_BLOCK_SAMPLES,
  type BlockInfo,
} from './block.ts';
import { ByteReader, ByteWriter } from './bytes.ts';
import type { SampleColumns } from './columns.ts';
import { readCounts, writeCounts } from './counts.ts';
import { crc32c } from './crc32c.ts';
import { scaleOf } from './pyramid.ts';
import { readRuns, writeRuns } from './runs.ts';
import { readTimes, writeTimes } from './times.ts';

/**
 * What one meter said over a stretch of time, as one compact, self-checking byte string: its channels share one
 * column of times. FORMAT.md describes each byte. Lossless: times and counts come back as the same doubles.
 */
export interface Instants {
  readonly length: number;
  /** Milliseconds from the recording's start. */
  readonly t: Float64Array;
  readonly channels: readonly InstantChannel[];
}

export interface InstantChannel {
  /** The instants at which the channel has a sample, ascending; null where it has one at each. */
  readonly rows: Uint32Array | null;
  readonly counts: Float64Array;
  readonly scale: Int8Array;
  readonly flags: Uint16Array;
}

/** Of the live samples of one channel, in the channel's unit; all 0 where none is live. */
export interface ChannelSummary {
  readonly samples: number;
  readonly live: number;
  readonly min: number;
  readonly max: number;
  readonly sum: number;
}

export interface InstantsInfo extends BlockInfo {
  /** Empty for codec 1, which has none. */
  readonly channels: readonly ChannelSummary[];
}

const CODEC = 3;
const CODEC_1 = 1;
const HEADER = 28;
const SUMMARY = 32;
const TRAILER = 4;
const MAX_CHANNELS = 255;

/** Below it, tables of frequencies cost more than they save. */
const FEW = 128;
/** Below it, finding out what suits the numbers takes longer than it is worth where they are soon written anew. */
export const FEW_IN_A_HURRY = 256;

/**
 * Blocks of fewer than `few` instants hold plain numbers: about three times as long, and written in a tenth of the time.
 * @throws RangeError for a time or count that is not finite, and for more instants or channels than fit
 */
export function encodeInstants(block: Instants, few = FEW): Uint8Array {
  const { t, channels, length } = block;
  if (length > MAX_BLOCK_SAMPLES || channels.length > MAX_CHANNELS)
    throw new RangeError('too much for one block');
  let from = 0;
  let to = 0;
  for (let i = 0; i < length; i++) {
    const x = t[i]!;
    if (!Number.isFinite(x)) throw new RangeError('a time is not finite');
    if (i === 0 || x < from) from = x;
    if (i === 0 || x > to) to = x;
  }
  const w = new ByteWriter(HEADER + length * 2 + 64 * (1 + channels.length));
  w.u8(0x4e);
  w.u8(0x42);
  w.u8(CODEC);
  w.u8(channels.length);
  w.u32(length);
  w.f64(from);
  w.f64(to);
  w.u32(0); // the body's length, known at the end
  for (const channel of channels) writeSummary(w, summaryOf(channel));
  writeTimes(w, t, few);
  for (const { rows, counts, scale, flags } of channels) {
    const at = w.length;
    w.u32(0); // the channel's length, known at its end
    writeRows(w, rows, length);
    writeCounts(w, counts, few);
    writeRuns(w, scale, flags);
    w.setU32(at, w.length - at - 4);
  }
  const bodyLength = w.length - HEADER;
  w.u32(0);
  w.setU32(24, bodyLength);
  w.setU32(w.length - TRAILER, crc32c(w.bytes(), 0, w.length - TRAILER));
  return w.bytes().slice();
}

/** Earliest and latest time of a block that was just written, milliseconds. */
export function spanOf(bytes: Uint8Array): { readonly fromMs: number; readonly toMs: number } {
  const r = new ByteReader(bytes, 8, HEADER);
  return { fromMs: r.f64(), toMs: r.f64() };
}

/** @throws BlockError */
export function instantsInfo(bytes: Uint8Array): InstantsInfo {
  const info = blockInfo(bytes);
  if (info.codec === CODEC_1) return { ...info, channels: [] };
  const r = new ByteReader(bytes, HEADER, bytes.length - TRAILER);
  return blockError(() => ({ ...info, channels: Array.from({ length: bytes[3]! }, () => readSummary(r)) }));
}

/** @throws BlockError when the bytes are not exactly one intact block */
export function decodeInstants(bytes: Uint8Array): Instants {
  return decode(bytes, null);
}

/**
 * The samples of one channel; what the others hold is not looked at, where the codec lets it be skipped.
 * @throws BlockError when the bytes are not exactly one intact block, or have no such channel
 */
export function decodeChannel(bytes: Uint8Array, channel: number): SampleColumns {
  const block = decode(bytes, channel);
  if (channel >= block.channels.length) throw new BlockError('corrupt', 'no such channel');
  return columnsAt(block, channel);
}

const UNREAD: InstantChannel = {
  rows: null,
  counts: new Float64Array(),
  scale: new Int8Array(),
  flags: new Uint16Array(),
};

function decode(bytes: Uint8Array, only: number | null): Instants {
  const { codec, count } = blockInfo(bytes);
  if (codec === CODEC_1) {
    const { t, counts, scale, flags } = decodeBlock(bytes);
    return { length: count, t, channels: [{ rows: null, counts, scale, flags }] };
  }
  return blockError(() => {
    const end = bytes.length - TRAILER;
    const r = new ByteReader(bytes, HEADER, end);
    const channelCount = bytes[3]!;
    r.skip(channelCount * SUMMARY);
    const t = new Float64Array(count);
    readTimes(r, t, codec);
    const channels: InstantChannel[] = [];
    for (let c = 0; c < channelCount; c++) {
      const next = codec === CODEC ? r.u32() + r.at : null;
      if (next !== null && only !== null && only !== c) {
        r.skip(next - r.at);
        channels.push(UNREAD);
        continue;
      }
      const rows = readRows(r, count);
      const n = rows?.length ?? count;
      const counts = new Float64Array(n);
      readCounts(r, counts);
      const scale = new Int8Array(n);
      const flags = new Uint16Array(n);
      readRuns(r, scale, flags);
      if (next !== null && r.at !== next) throw new RangeError('a channel has another length');
      channels.push({ rows, counts, scale, flags });
    }
    if (r.at !== end) throw new RangeError('bytes left over');
    return { length: count, t, channels };
  });
}

/** The samples of one channel. */
export function columnsAt({ t, channels }: Instants, channel: number): SampleColumns {
  const { rows, counts, scale, flags } = channels[channel]!;
  const own = rows === null ? t : Float64Array.from(rows, (row) => t[row]!);
  return { length: own.length, t: own, counts, scale, flags };
}

function summaryOf({ counts, scale, flags }: InstantChannel): ChannelSummary {
  const one = scaleOf(counts, scale);
  // Counts of one scale are integers; they are looked at in a loop of nothing else, because every sample passes here.
  const values = one === null ? valuesOf(counts, scale) : counts;
  let live = 0;
  let min = Infinity;
  let max = -Infinity;
  let sum = 0;
  for (let i = 0; i < values.length; i++) {
    if (!isLive(flags[i]!)) continue;
    const y = values[i]!;
    if (y < min) min = y;
    if (y > max) max = y;
    sum += y;
    live++;
  }
  const samples = counts.length;
  if (live === 0) return { samples, live, min: 0, max: 0, sum: 0 };
  if (one === null) return { samples, live, min, max, sum };
  return { samples, live, min: valueOf(min, one), max: valueOf(max, one), sum: valueOf(sum, one) };
}

/** @throws RangeError for a count that is not finite */
function valuesOf(counts: Float64Array, scale: Int8Array): Float64Array {
  return counts.map((x, i) => {
    if (!Number.isFinite(x)) throw new RangeError('a count is not finite');
    return valueOf(x, scale[i]!);
  });
}

function writeSummary(w: ByteWriter, s: ChannelSummary): void {
  w.u32(s.samples);
  w.u32(s.live);
  w.f64(s.min);
  w.f64(s.max);
  w.f64(s.sum);
}

function readSummary(r: ByteReader): ChannelSummary {
  return { samples: r.u32(), live: r.u32(), min: r.f64(), max: r.f64(), sum: r.f64() };
}

/** 0 where the channel has a sample at each instant; else 1 and, by turns, how many instants have one and have none. */
function writeRows(w: ByteWriter, rows: Uint32Array | null, length: number): void {
  w.u8(rows === null ? 0 : 1);
  if (rows === null) return;
  const runs: number[] = [];
  for (let i = 0, next = 0; next < length;) {
    const first = i;
    while (i < rows.length && rows[i] === next + i - first) i++;
    next += i - first;
    const none = (i < rows.length ? rows[i]! : length) - next;
    runs.push(i - first, none);
    next += none;
  }
  w.varint(runs.length);
  for (const run of runs) w.varint(run);
}

function readRows(r: ByteReader, length: number): Uint32Array | null {
  const kind = r.u8();
  if (kind === 0) return null;
  if (kind !== 1) throw new RangeError('unknown kind of rows');
  const rows = new Uint32Array(length);
  let n = 0;
  let row = 0;
  const runs = r.varint();
  for (let k = 0; k < runs; k++) {
    const run = r.varint();
    if (run > length - row) throw new RangeError('rows do not fit');
    if (k % 2 === 0) for (let j = 0; j < run; j++) rows[n++] = row + j;
    row += run;
  }
  if (row !== length) throw new RangeError('rows are missing');
  return rows.slice(0, n);
}
