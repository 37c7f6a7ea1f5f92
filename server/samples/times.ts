import type { ByteReader, ByteWriter } from './bytes.ts';
import { NumberRun2 } from './codec2.ts';
import { costOf, NumberRun, writeNumbers } from './rans.ts';
import { unzigzag, zigzag } from './zigzag.ts';

/** How the times of a block are written; FORMAT.md, "Times". */
const MODE = { raw: 0, small: 1, steps: 2, grid: 3 } as const;

// Differences of differences of numbers up to 2^49 stay exact in a double and in a zigzag varint.
const LARGEST = 2 ** 49;
const STEP_CONTEXTS = 4;
/** How slowly the grid follows the samples: not at all, or by a part in 2^7 of each residual. */
const FOLLOW = [0, 7] as const;

/** The times as multiples of `1 / per`; null where one is no such multiple, or minus zero (-0 + 0 is 0). */
function multiples(t: Float64Array, per: number): Float64Array | null {
  const k = new Float64Array(t.length);
  for (let i = 0; i < t.length; i++) {
    const x = t[i]!;
    const m = Math.round(x * per);
    if (m / per !== x || m > LARGEST || m < -LARGEST || (x === 0 && Object.is(x, -0))) return null;
    k[i] = m;
  }
  return k;
}

/** Milliseconds, in any order; fewer than `few` of them as plain numbers. */
export function writeTimes(w: ByteWriter, t: Float64Array, few: number): void {
  const whole = multiples(t, 1);
  const k = whole ?? multiples(t, 1000);
  if (t.length === 0 || k === null) {
    w.u8(MODE.raw);
    for (const x of t) w.f64(x);
    return;
  }
  const steps = new Float64Array(k.length - 1);
  for (let i = 1; i < k.length; i++) steps[i - 1] = k[i]! - k[i - 1]!;
  const unit = whole === null ? 0x10 : 0;
  if (t.length < few) {
    const usual = usualOf(steps, 15);
    w.u8(MODE.small | unit);
    w.zigzag(k[0]!);
    w.zigzag(usual);
    for (const step of steps) w.zigzag(step - usual);
    return;
  }
  const usual = usualOf(steps, 255);
  const grid = bestGrid(k, steps, usual);
  if (grid !== null) {
    w.u8(MODE.grid | unit);
    w.u8(grid.follow);
    w.zigzag(k[0]!);
    w.f64(grid.start);
    w.f64(grid.step);
    writeNumbers(w, grid.z, new Uint8Array(grid.z.length), 1);
    return;
  }
  const z = stepsBeside(usual, steps);
  w.u8(MODE.steps | unit);
  w.zigzag(k[0]!);
  w.zigzag(usual);
  writeNumbers(w, z, stepContexts(z), STEP_CONTEXTS);
}

function stepsBeside(usual: number, steps: Float64Array): Float64Array {
  const z = new Float64Array(steps.length);
  for (let i = 0; i < z.length; i++) z[i] = zigzag(steps[i]! - usual);
  return z;
}

/** About the median of the steps, by at most `most` of them. */
function usualOf(steps: Float64Array, most: number): number {
  const every = Math.ceil(steps.length / most);
  const some: number[] = [];
  for (let i = 0; i < steps.length; i += every) some.push(steps[i]!);
  some.sort((a, b) => a - b);
  return some[some.length >> 1] ?? 0;
}

/** The times of a block of codec 2 or 3. @throws RangeError */
export function readTimes(r: ByteReader, t: Float64Array, codec: number): void {
  const head = r.u8();
  const mode = head & 0x0f;
  if (mode === MODE.raw) {
    for (let i = 0; i < t.length; i++) t[i] = r.f64();
    return;
  }
  const per = (head & 0x10) === 0 ? 1 : 1000;
  const coded = (contexts: number) =>
    codec === 2 ? new NumberRun2(r, contexts) : new NumberRun(r, contexts);
  if (mode === MODE.grid) readGrid(r, t, per, coded);
  else if (mode === MODE.steps) readSteps(r, t, per, coded);
  else if (mode === MODE.small) {
    let k = r.zigzag();
    const usual = r.zigzag();
    t[0] = k / per;
    for (let i = 1; i < t.length; i++) t[i] = (k += usual + r.zigzag()) / per;
  } else throw new RangeError('unknown time mode');
}

type Coded = (contexts: number) => NumberRun | NumberRun2;

/** A step is likely to be like the one before it: on the usual one, a little off, or far off. */
function stepContext(before: number): number {
  return before === 0 ? 0 : before < 5 ? 1 : before < 32 ? 2 : 3;
}

function stepContexts(z: Float64Array): Uint8Array {
  const out = new Uint8Array(z.length);
  for (let i = 1; i < z.length; i++) out[i] = stepContext(z[i - 1]!);
  return out;
}

function readSteps(r: ByteReader, t: Float64Array, per: number, coded: Coded): void {
  let k = r.zigzag();
  const usual = r.zigzag();
  const run = coded(STEP_CONTEXTS);
  t[0] = k / per;
  let z = 0;
  for (let i = 1; i < t.length; i++) {
    z = run.next(stepContext(z));
    t[i] = (k += usual + unzigzag(z)) / per;
  }
  run.end();
}

interface Grid {
  readonly follow: number;
  readonly start: number;
  readonly step: number;
  readonly z: Float64Array;
}

/** So many instants say how the times of a block are best written. */
const PART = 1024;

/**
 * The line k = start + step * n (k from the first sample on) that fits the samples best, and what is left; null where
 * plain steps take less.
 */
function bestGrid(k: Float64Array, steps: Float64Array, usual: number): Grid | null {
  if (usual <= 0) return null;
  const [half, oneAndAHalf] = [0.5 * usual, 1.5 * usual];
  let n = 0;
  let sn = 0;
  let sk = 0;
  let snn = 0;
  let snk = 0;
  for (let i = 1; i < k.length; i++) {
    const step = steps[i - 1]!;
    // Nearly all steps are the usual one, which needs no division.
    if (step > oneAndAHalf) n += Math.round(step / usual);
    else if (step >= half) n++;
    const x = k[i]! - k[0]!;
    sn += n;
    sk += x;
    snn += n * n;
    snk += n * x;
  }
  const all = k.length;
  const step = (all * snk - sn * sk) / (all * snn - sn * sn);
  if (!(step > 0) || !Number.isFinite(step)) return null;
  const start = (sk - step * sn) / all;
  const some = k.subarray(0, PART + 1);
  const costs = FOLLOW.map((follow) => {
    const z = residuals(some, start, step, follow);
    return costOf(z, new Uint8Array(z.length), 1);
  });
  const plain = stepsBeside(usual, steps.subarray(0, PART));
  const least = Math.min(...costs);
  if (!(least < costOf(plain, stepContexts(plain), STEP_CONTEXTS))) return null;
  const follow = FOLLOW[costs.indexOf(least)]!;
  const z = residuals(k, start, step, follow);
  for (let i = 0; i < z.length; i++) if (!(z[i]! <= LARGEST)) return null;
  return { follow, start, step, z };
}

function residuals(k: Float64Array, start: number, step: number, follow: number): Float64Array {
  const z = new Float64Array(k.length - 1);
  const gain = follow === 0 ? 0 : 2 ** -follow;
  const half = step / 2;
  let g = start;
  for (let i = 1; i < k.length; i++) {
    g += step;
    const x = k[i]! - k[0]!;
    const off = x - Math.floor(g + 0.5);
    z[i - 1] = zigzag(off);
    if (off > half || off < -half) g += Math.round(off / step) * step;
    g += (x - g) * gain;
  }
  return z;
}

/** The mirror of `residuals`. */
function readGrid(r: ByteReader, t: Float64Array, per: number, coded: Coded): void {
  const follow = r.u8();
  const first = r.zigzag();
  let g = r.f64();
  const step = r.f64();
  const gain = 2 ** -follow;
  const half = step / 2;
  const run = coded(1);
  const z = run.all(t.length - 1);
  run.end();
  t[0] = first / per;
  for (let i = 1; i < t.length; i++) {
    const off = unzigzag(z[i - 1]!);
    g += step;
    const x = Math.floor(g + 0.5) + off;
    if (off > half || off < -half) g += Math.round(off / step) * step;
    if (follow !== 0) g += (x - g) * gain;
    t[i] = (first + x) / per;
  }
}
