import type { ByteReader, ByteWriter } from './bytes.ts';
import { costOf, DIRECT, FREQ_BITS, LOW, NumberRun, SLOT_MASK, writeNumbers } from './rans.ts';
import { FEW } from './times.ts';
import { unzigzag, zigzag } from './zigzag.ts';

/** How the counts of a channel are written; FORMAT.md, "Counts". */
const MODE = { raw: 0, float32: 1, small: 2, levels: 3 } as const;

const LARGEST = 2 ** 49;
/** Up to here the arithmetic of levels stays within 32 bits. */
const LARGEST_LEVEL = 2 ** 23;
const CONTEXTS = 6;
/** A reading that stays away from the level so often has a new level. */
const AWAY = 8;

/** How near to its level a reading is at home, and how slowly (2^-gain) the level follows. Near -1: never. */
interface Model {
  readonly near: number;
  readonly gain: number;
}
const MODELS: readonly Model[] = [
  { near: 3, gain: 6 },
  { near: 3, gain: 4 },
  { near: 12, gain: 6 },
  { near: 12, gain: 4 },
  { near: 48, gain: 4 },
  { near: -1, gain: 4 },
];

export function writeCounts(w: ByteWriter, counts: Float64Array): void {
  const size = counts.reduce(
    (a, x) => (Number.isInteger(x) && !Object.is(x, -0) ? Math.max(a, Math.abs(x)) : Infinity),
    0,
  );
  if (size > LARGEST) {
    const floats = counts.every((x) => Object.is(Math.fround(x), x));
    w.u8(floats ? MODE.float32 : MODE.raw);
    for (const x of counts) {
      if (floats) w.f32(x);
      else w.f64(x);
    }
    return;
  }
  if (counts.length < FEW || size > LARGEST_LEVEL) {
    w.u8(MODE.small);
    let last = 0;
    for (const x of counts) {
      w.zigzag(x - last);
      last = x;
    }
    return;
  }
  const model = bestModel(counts);
  const { z, context } = residuals(counts, model);
  w.u8(MODE.levels);
  w.zigzag(model.near);
  w.u8(model.gain);
  writeNumbers(w, z, context, CONTEXTS);
}

/** @throws RangeError */
export function readCounts(r: ByteReader, counts: Float64Array): void {
  const mode = r.u8();
  if (mode === MODE.levels) readLevels(r, counts);
  else if (mode === MODE.small) {
    let last = 0;
    for (let i = 0; i < counts.length; i++) counts[i] = last += r.zigzag();
  } else if (mode === MODE.float32) for (let i = 0; i < counts.length; i++) counts[i] = r.f32();
  else if (mode === MODE.raw) for (let i = 0; i < counts.length; i++) counts[i] = r.f64();
  else throw new RangeError('unknown counts mode');
}

/** The model that suits best, judged by a part of the counts. */
function bestModel(counts: Float64Array): Model {
  const part = counts.subarray(0, Math.max(FEW, Math.min(1024, counts.length >> 2)));
  const costs = MODELS.map((model) => {
    const { z, context } = residuals(part, model);
    return costOf(z, context, CONTEXTS);
  });
  return MODELS[costs.indexOf(Math.min(...costs))]!;
}

/**
 * Each reading beside what it was expected to be: its level while it is at home there (context: where between two
 * counts the level lies), else the reading before it (context: whether that one was a large step).
 */
function residuals(counts: Float64Array, { near, gain }: Model): { z: Float64Array; context: Uint8Array } {
  const z = new Float64Array(counts.length);
  const context = new Uint8Array(counts.length);
  let level = 0; // in 1/64 count
  let away = 1;
  let last = 0;
  let jumped = 0;
  for (let i = 0; i < counts.length; i++) {
    const x = counts[i]! | 0;
    const home = (level + 32) >> 6;
    const atHome = away === 0;
    const off = x - (atHome ? home : last);
    z[i] = zigzag(off);
    context[i] = atHome ? ((level + 32) >> 4) & 3 : 4 + jumped;
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
  return { z, context };
}

/** The mirror of `residuals`, with `NumberRun.next` written out: every sample that is read passes here. */
function readLevels(r: ByteReader, counts: Float64Array): void {
  const near = r.zigzag();
  const gain = r.u8();
  const run = new NumberRun(r, CONTEXTS);
  const { slots, words } = run;
  let { state, at } = run;
  let level = 0;
  let away = 1;
  let last = 0;
  let jumped = 0;
  for (let i = 0; i < counts.length; i++) {
    const home = (level + 32) >> 6;
    const atHome = away === 0;
    const context = atHome ? ((level + 32) >> 4) & 3 : 4 + jumped;
    const slot = slots[(context << FREQ_BITS) | (state & SLOT_MASK)]!;
    state = Math.imul(((slot >>> 8) & SLOT_MASK) + 1, state >> FREQ_BITS) + (slot >>> 20);
    if (state < LOW) state = (state << 16) | words[at++]!;
    const token = slot & 0xff;
    const off = token < DIRECT ? (token >>> 1) ^ -(token & 1) : unzigzag(run.large(token)) | 0;
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
  run.end(state, at);
}
