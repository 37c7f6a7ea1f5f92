import { median, quantile } from './statistics.ts';

/**
 * A known pulse train followed by its phase: the readings are cut into blocks, and the harmonics of each block
 * against the common pulse shape say how early or late its pulses are. Works also where a reading is longer
 * than a pulse or a period, for then the pulses' phases still differ from reading to reading.
 */

/** Readings in time order without a large gap: seconds and values, equal lengths. */
export interface Piece {
  readonly t: Float64Array;
  readonly y: Float64Array;
}

export interface BeatBlock {
  /** Which piece, and which of its samples: [from, to). */
  readonly piece: number;
  readonly from: number;
  readonly to: number;
  readonly middleS: number;
  /** How late its pulses are at the middle, in periods, against multiples of the period; in -0.5..0.5. */
  readonly late: number;
  /** Change of that per second, from its neighbours. */
  readonly driftPerS: number;
}

const BINS = 256;
const HARMONICS = 8;
/** A block is at least so many periods and so many readings long. */
const LEAST_PERIODS = 20;
const LEAST_READINGS = 64;
const MOST_BLOCKS = 160;
/** A block whose pulses have less than this of the common height is taken to be without. */
const PRESENT = 0.4;

interface Raw {
  readonly piece: number;
  readonly from: number;
  readonly to: number;
  readonly middleS: number;
  readonly re: Float64Array;
  readonly im: Float64Array;
}

/** Blocks in which the pulses are there, in time order; empty where there are too few to follow. */
export function followBeat(pieces: readonly Piece[], periodS: number): BeatBlock[] {
  const raw = cut(pieces, periodS);
  if (raw.length < 3) return [];
  const energies = raw.map((b) => energyOf(b));
  const usual = median(energies);
  let shape: Pick<Raw, 're' | 'im'> = raw.reduce((a, b) =>
    Math.abs(energyOf(b) - usual) < Math.abs(energyOf(a) - usual) ? b : a,
  );
  let found: { late: number; height: number }[] = [];
  for (let round = 0; round < 3; round++) {
    found = raw.map((b) => phaseAgainst(b, shape));
    shape = meanShape(raw, found);
  }
  const present = raw.flatMap((b, i) => (found[i]!.height > PRESENT ? [{ ...b, late: found[i]!.late }] : []));
  return present.map(({ piece, from, to, middleS, late }, i) => {
    const near = [present[i - 1], present[i + 1]].filter((n) => n !== undefined && n.piece === piece);
    const slopes = near.map((n) => wrapped(n!.late - late) / (n!.middleS - middleS));
    const driftPerS = slopes.length === 0 ? 0 : slopes.reduce((a, b) => a + b, 0) / slopes.length;
    return { piece, from, to, middleS, late, driftPerS };
  });
}

/** The period between neighbouring blocks: time, seconds, and twice the standard uncertainty from their scatter. */
export interface PeriodPoint {
  readonly atS: number;
  readonly periodS: number;
  readonly uncertaintyS: number;
}

export function periodOverTime(blocks: readonly BeatBlock[], periodS: number): PeriodPoint[] {
  const steps = blocks.flatMap((b, i) => {
    const a = blocks[i - 1];
    return a === undefined || a.piece !== b.piece
      ? []
      : [{ atS: (a.middleS + b.middleS) / 2, lengthS: b.middleS - a.middleS, by: wrapped(b.late - a.late) }];
  });
  // Scatter of the phases: second differences hold six times its variance.
  const bends = steps.slice(1).map((s, i) => Math.abs(s.by - steps[i]!.by));
  const scatter = bends.length === 0 ? 0 : (1.4826 * median(bends)) / Math.sqrt(6);
  return steps.map(({ atS, lengthS, by }) => ({
    atS,
    periodS: periodS * (1 + (periodS * by) / lengthS),
    uncertaintyS: (2 * Math.SQRT2 * scatter * periodS * periodS) / lengthS,
  }));
}

/** Into -0.5..0.5. */
export function wrapped(phase: number): number {
  return phase - Math.round(phase);
}

function cut(pieces: readonly Piece[], periodS: number): Raw[] {
  const spanS = pieces.reduce((s, p) => s + Math.max(0, p.t[p.t.length - 1]! - p.t[0]!), 0);
  const readings = pieces.reduce((n, p) => n + p.t.length, 0);
  if (readings < 3 * LEAST_READINGS || !(spanS > 0)) return [];
  const interval = spanS / readings;
  const lengthS = Math.max(LEAST_PERIODS * periodS, LEAST_READINGS * interval, spanS / MOST_BLOCKS);
  const limits = limitsOf(pieces, interval / periodS);
  return pieces.flatMap(({ t, y }, piece) => {
    const out: Raw[] = [];
    let from = 0;
    for (let i = 1; i <= t.length; i++) {
      if (i < t.length && t[i]! < t[from]! + lengthS) continue;
      const enough = i - from >= LEAST_READINGS / 2 && t[i - 1]! - t[from]! > lengthS / 2;
      if (enough) out.push(blockOf(t, y, piece, from, i, periodS, limits));
      from = i;
    }
    return out;
  });
}

/** How far a reading may be from its block's median: what stands out more is a wake-up, not a pulse. */
function limitsOf(pieces: readonly Piece[], share: number): { below: number; above: number } {
  const all = Float64Array.from(
    pieces.flatMap(({ y }) => {
      const step = Math.max(1, Math.floor(y.length / 4000));
      return Array.from({ length: Math.floor(y.length / step) }, (_, k) => y[k * step]!);
    }),
  );
  const p = Math.min(0.1, 0.3 * share);
  const middle = median(all);
  return { below: middle - quantile(all, p), above: quantile(all, 1 - p) - middle };
}

function blockOf(
  t: Float64Array,
  y: Float64Array,
  piece: number,
  from: number,
  to: number,
  periodS: number,
  limits: { below: number; above: number },
): Raw {
  const level = median(y.subarray(from, to));
  const folded = new Float64Array(BINS);
  for (let i = from; i < to; i++) {
    const phase = t[i]! / periodS;
    const v = Math.min(1.5 * limits.above, Math.max(-1.5 * limits.below, y[i]! - level));
    folded[Math.floor((phase - Math.floor(phase)) * BINS)]! += v / (to - from);
  }
  const mean = folded.reduce((a, b) => a + b, 0) / BINS;
  const re = new Float64Array(HARMONICS);
  const im = new Float64Array(HARMONICS);
  for (let h = 1; h <= HARMONICS; h++)
    for (let b = 0; b < BINS; b++) {
      const a = (-2 * Math.PI * h * (b + 0.5)) / BINS;
      re[h - 1]! += (folded[b]! - mean) * Math.cos(a);
      im[h - 1]! += (folded[b]! - mean) * Math.sin(a);
    }
  return { piece, from, to, middleS: (t[from]! + t[to - 1]!) / 2, re, im };
}

function energyOf({ re, im }: Pick<Raw, 're' | 'im'>): number {
  let sum = 0;
  for (let h = 0; h < HARMONICS; h++) sum += re[h]! ** 2 + im[h]! ** 2;
  return sum;
}

/** How late a block is against a shape, in periods, and how high its pulses are relative to it. */
function phaseAgainst(b: Raw, shape: Pick<Raw, 're' | 'im'>): { late: number; height: number } {
  const cr = new Float64Array(HARMONICS);
  const ci = new Float64Array(HARMONICS);
  for (let h = 0; h < HARMONICS; h++) {
    cr[h] = b.re[h]! * shape.re[h]! + b.im[h]! * shape.im[h]!;
    ci[h] = b.im[h]! * shape.re[h]! - b.re[h]! * shape.im[h]!;
  }
  const match = (late: number): number => {
    let sum = 0;
    for (let h = 0; h < HARMONICS; h++) {
      const a = 2 * Math.PI * (h + 1) * late;
      sum += cr[h]! * Math.cos(a) - ci[h]! * Math.sin(a);
    }
    return sum;
  };
  const grid = 8 * HARMONICS;
  let late = 0;
  for (let k = 1 - grid / 2; k <= grid / 2; k++) if (match(k / grid) > match(late)) late = k / grid;
  for (let step = 0.5 / grid; step > 1e-7; step /= 2) {
    if (match(late + step) > match(late)) late += step;
    else if (match(late - step) > match(late)) late -= step;
  }
  return { late: wrapped(late), height: match(late) / Math.max(energyOf(shape), 1e-300) };
}

function meanShape(
  raw: readonly Raw[],
  found: readonly { late: number; height: number }[],
): Pick<Raw, 're' | 'im'> {
  const re = new Float64Array(HARMONICS);
  const im = new Float64Array(HARMONICS);
  let n = 0;
  raw.forEach((b, i) => {
    if (found[i]!.height < PRESENT) return;
    n++;
    for (let h = 0; h < HARMONICS; h++) {
      const a = 2 * Math.PI * (h + 1) * found[i]!.late;
      re[h]! += b.re[h]! * Math.cos(a) - b.im[h]! * Math.sin(a);
      im[h]! += b.re[h]! * Math.sin(a) + b.im[h]! * Math.cos(a);
    }
  });
  return { re: re.map((x) => x / Math.max(1, n)), im: im.map((x) => x / Math.max(1, n)) };
}
