import { crc32c } from './crc32c.ts';
import { ByteReader } from './bytes.ts';
import type { SampleColumns } from './columns.ts';
import { readRuns } from './runs.ts';

/**
 * The frame that all blocks share, and the reading of codec 1: samples of one channel. Only codec 3 is written now
 * (instants.ts), but databases keep their old blocks. FORMAT.md describes each byte.
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
const NEWEST = 3;
const HEADER = 28;
const TRAILER = 4;
export const MAX_BLOCK_SAMPLES = 1 << 20;

const TIME = { wholeMs: 0, thousandths: 1, raw: 2 } as const;
const COUNTS = { integers: 0, float32: 1, raw: 2 } as const;

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
  const codec = bytes[2]!;
  if (codec < CODEC || codec > NEWEST)
    throw new BlockError('unknown-codec', `codec ${codec} is not known here`);
  r.at = 4;
  const count = r.u32();
  if (count > MAX_BLOCK_SAMPLES) throw new BlockError('corrupt', 'more samples than a block may hold');
  return { codec, count, fromMs: r.f64(), toMs: r.f64() };
}

/** The samples of a block of codec 1. @throws BlockError when the bytes are not exactly one intact block of it */
export function decodeBlock(bytes: Uint8Array): SampleColumns {
  const { codec, count } = blockInfo(bytes);
  if (codec !== CODEC) throw new BlockError('unknown-codec', `codec ${codec} is not read here`);
  const out = {
    length: count,
    t: new Float64Array(count),
    counts: new Float64Array(count),
    scale: new Int8Array(count),
    flags: new Uint16Array(count),
  };
  const end = bytes.length - TRAILER;
  const r = new ByteReader(bytes, HEADER, end);
  return blockError(() => {
    readTimes(r, out.t, bytes[3]! & 0x0f);
    readCounts(r, out.counts, bytes[3]! >> 4);
    readRuns(r, out.scale, out.flags);
    if (r.at !== end) throw new RangeError('bytes left over');
    return out;
  });
}

/** Runs `read`, whose RangeErrors mean a corrupt block: its checksum held, so only a faulty writer gets there. */
export function blockError<T>(read: () => T): T {
  try {
    return read();
  } catch (error) {
    if (error instanceof RangeError) throw new BlockError('corrupt', error.message);
    throw error;
  }
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

function readCounts(r: ByteReader, counts: Float64Array, mode: number): void {
  let last = 0;
  for (let i = 0; i < counts.length; i++) {
    if (mode === COUNTS.integers) counts[i] = last += r.zigzag();
    else if (mode === COUNTS.float32) counts[i] = r.f32();
    else if (mode === COUNTS.raw) counts[i] = r.f64();
    else throw new RangeError('unknown counts mode');
  }
}
