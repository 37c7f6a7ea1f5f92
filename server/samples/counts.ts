import type { ByteReader, ByteWriter } from './bytes.ts';
import { readLevels2 } from './codec2.ts';
import { costOf, FREQ_BITS, LOW, NumberRun, SLOT_MASK, writeNumbers } from './rans.ts';
import { DIRECT } from './tokens.ts';
import { unzigzag } from './zigzag.ts';

/** How the counts of a channel are written; FORMAT.md, "Counts". Only codec 2 wrote mode 3. */
const MODE = { raw: 0, float32: 1, small: 2, levels2: 3, levels: 4 } as const;

const LARGEST = 2 ** 49;
/** Up to here the arithmetic of levels stays within 32 bits. */
const LARGEST_LEVEL = 2 ** 23;
/** What a reading is expected to be like: its level, its forerunner, home again, or the reading before it. */
const HOME = 0;
const LAG = 1;
const BACK = 2;
const STAY = 3;
const CONTEXTS = 4;
/** A reading that stays away from the level so often has a new level. */
const AWAY = 8;
/** Excursions that come again after so many readings are looked for. */
const LONGEST_LAG = 8191;

/**
 * A channel rests on a level and leaves it for a while: a pulse, a wake-up. `near` is how far from the level a
 * reading is still at home, 2^-gain how fast the level follows, `back` whether after one reading away home is more
 * likely than staying, `lag` after how many readings an excursion comes again (0: it does not).
 */
interface Model {
  readonly near: number;
  readonly gain: number;
  readonly back: boolean;
  readonly lag: number;
}
const MODELS: readonly Model[] = [
  { near: 3, gain: 6, back: true, lag: 0 },
  { near: 3, gain: 4, back: false, lag: 0 },
  { near: 12, gain: 6, back: true, lag: 0 },
  { near: 12, gain: 4, back: false, lag: 0 },
  { near: 48, gain: 4, back: false, lag: 0 },
  // Never at home: each reading beside the one before it.
  { near: -1, gain: 4, back: false, lag: 0 },
];

/** Fewer than `few` of them are written as plain numbers. */
export function writeCounts(w: ByteWriter, counts: Float64Array, few: number): void {
  const size = sizeOf(counts);
  if (size > LARGEST) {
    const floats = counts.every((x) => Object.is(Math.fround(x), x));
    w.u8(floats ? MODE.float32 : MODE.raw);
    for (const x of counts) {
      if (floats) w.f32(x);
      else w.f64(x);
    }
    return;
  }
  if (counts.length < few || size > LARGEST_LEVEL) {
    w.u8(MODE.small);
    let last = 0;
    for (const x of counts) {
      w.zigzag(x - last);
      last = x;
    }
    return;
  }
  const { model, z, context } = bestModel(counts);
  w.u8(MODE.levels);
  w.zigzag(counts[0]!);
  w.zigzag(model.near);
  w.u8(model.gain | (model.back ? 0x80 : 0));
  w.varint(model.lag);
  writeNumbers(w, z, context, CONTEXTS);
}

/** @throws RangeError */
export function readCounts(r: ByteReader, counts: Float64Array): void {
  const mode = r.u8();
  if (mode === MODE.levels) readLevels(r, counts);
  else if (mode === MODE.levels2) readLevels2(r, counts);
  else if (mode === MODE.small) {
    let last = 0;
    for (let i = 0; i < counts.length; i++) counts[i] = last += r.zigzag();
  } else if (mode === MODE.float32) for (let i = 0; i < counts.length; i++) counts[i] = r.f32();
  else if (mode === MODE.raw) for (let i = 0; i < counts.length; i++) counts[i] = r.f64();
  else throw new RangeError('unknown counts mode');
}

/** The largest of the integers, either way; Infinity where not all are integers. */
function sizeOf(counts: Float64Array): number {
  let size = 0;
  for (let i = 0; i < counts.length; i++) {
    const x = counts[i]!;
    if (x !== Math.floor(x) || (x === 0 && Object.is(x, -0))) return Infinity;
    if (x > size) size = x;
    else if (-x > size) size = -x;
  }
  return size;
}

interface Modelled {
  readonly model: Model;
  readonly z: Float64Array;
  readonly context: Uint8Array;
  /** How far from home each reading is; 0 at home. */
  readonly away: Int32Array;
}

/** So many counts say which model suits a block. */
const PART = 512;

/** The model that suits a part of the counts best, with a lag where its excursions come again. */
function bestModel(counts: Float64Array): Modelled {
  const from = Math.max(0, (counts.length - PART) >> 1);
  const part = counts.subarray(from, from + PART);
  const bits = (m: Modelled) => costOf(m.z, m.context, CONTEXTS);
  const costs = MODELS.map((model) => bits(residuals(part, model)));
  const model = MODELS[costs.indexOf(Math.min(...costs))]!;
  const plain = residuals(counts, model);
  const { lag, share } = lagOf(plain.away);
  if (lag === 0) return plain;
  const lagging = residuals(counts, { ...model, lag });
  // Where most excursions have a forerunner, there is nothing to weigh.
  return share > 0.5 || bits(lagging) < bits(plain) ? lagging : plain;
}

/** The most frequent distance between the beginnings of two excursions (0: none is), and how many have it. */
function lagOf(away: Int32Array): { readonly lag: number; readonly share: number } {
  const seen = new Uint16Array(LONGEST_LAG + 1);
  let before = -1;
  let lag = 0;
  let all = 0;
  for (let i = 1; i < away.length; i++) {
    if (away[i] === 0 || away[i - 1] !== 0) continue;
    const distance = i - before;
    if (before >= 0 && distance <= LONGEST_LAG && ++seen[distance]! > seen[lag]!) lag = distance;
    before = i;
    all++;
  }
  return seen[lag]! < 3 ? { lag: 0, share: 0 } : { lag, share: seen[lag]! / all };
}

/** Each reading but the first beside what it was expected to be. */
function residuals(counts: Float64Array, model: Model): Modelled {
  const { near, gain, back, lag } = model;
  const n = counts.length;
  const z = new Float64Array(n - 1);
  const context = new Uint8Array(n - 1);
  const off = new Int32Array(n);
  let last = counts[0]! | 0;
  let level = last << 6; // in 1/64 count
  let next = last;
  let away = 0;
  for (let i = 1; i < n; i++) {
    const home = next;
    next = (level + 32) >> 6;
    const before = lag !== 0 && i >= lag ? off[i - lag]! : 0;
    let c = HOME;
    let expected = home;
    if (before !== 0) {
      c = LAG;
      expected = home + before;
    } else if (away !== 0) {
      c = away === 1 && back ? BACK : STAY;
      if (c === STAY) expected = last;
    }
    const x = counts[i]! | 0;
    const d = x - expected;
    z[i - 1] = d < 0 ? -2 * d - 1 : 2 * d;
    context[i - 1] = c;
    const e = x - home;
    if (e <= near && e >= -near) {
      away = 0;
      level += ((x << 6) - level) >> gain;
    } else if (away >= AWAY && d <= near && d >= -near) {
      away = 0;
      level = x << 6;
      next = x;
    } else {
      away++;
      off[i] = e;
    }
    last = x;
  }
  return { model, z, context, away: off };
}

/** The mirror of `residuals`, with `NumberRun.next` written out: every sample that is read passes here. */
function readLevels(r: ByteReader, counts: Float64Array): void {
  const n = counts.length;
  let last = r.zigzag() | 0;
  const near = r.zigzag() | 0;
  const flags = r.u8();
  const gain = flags & 0x1f;
  const back = (flags & 0x80) !== 0;
  const lag = r.varint();
  if (lag > LONGEST_LAG) throw new RangeError('the lag is too long');
  const run = new NumberRun(r, CONTEXTS);
  const { slots, words } = run;
  let { state, other, at } = run;
  // The offsets stand `lag` places further on; without a lag, what is looked at is not written yet.
  const off = new Int32Array(n + lag);
  let level = last << 6;
  let next = last;
  let away = 0;
  counts[0] = last;
  for (let i = 1; i < n; i++) {
    const home = next;
    next = (level + 32) >> 6;
    const before = off[i]!;
    let c = HOME;
    let expected = home;
    if (before !== 0) {
      c = LAG;
      expected = home + before;
    } else if (away !== 0) {
      c = away === 1 && back ? BACK : STAY;
      if (c === STAY) expected = last;
    }
    const slot = slots[(c << FREQ_BITS) | (state & SLOT_MASK)]!;
    let after = Math.imul(((slot >>> 8) & SLOT_MASK) + 1, state >>> FREQ_BITS) + (slot >>> 19);
    if (after < LOW) after = (after << 16) | words[at++]!;
    state = other;
    other = after;
    const token = slot & 0xff;
    const d = token < DIRECT ? (token >>> 1) ^ -(token & 1) : unzigzag(run.large(token)) | 0;
    const x = (expected + d) | 0;
    counts[i] = x;
    const e = (x - home) | 0;
    if (e <= near && e >= -near) {
      away = 0;
      level += ((x << 6) - level) >> gain;
    } else if (away >= AWAY && d <= near && d >= -near) {
      away = 0;
      level = x << 6;
      next = x;
    } else {
      away++;
      off[i + lag] = e;
    }
    last = x;
  }
  run.end(state, other, at);
}
