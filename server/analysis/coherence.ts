import { fitLine } from './statistics.ts';

/**
 * A line found by its power, followed by its phase: each block's harmonics against the common pulse shape say
 * whether the train is there in that block and how early or late it is; the phases over time give the period.
 */

export interface Coherent {
  /** Samples per period, and its standard uncertainty. */
  readonly period: number;
  readonly periodU: number;
  /** Sample at which a beat falls, near the middle. */
  readonly beat: number;
  /** Samples from and to which the train is there. */
  readonly from: number;
  readonly to: number;
}

interface Block {
  readonly middle: number;
  readonly re: Float64Array;
  readonly im: Float64Array;
}

const ROUNDS = 3;
/** A block whose pulses have less than this of the common height is taken to be without. */
const PRESENT = 0.5;

export function followLine(
  x: Float64Array,
  frequency: number,
  harmonics: number,
  blocks: number,
): Coherent | null {
  let f = frequency;
  let from = 0;
  let to = x.length;
  let fitted: { slope: number; error: number; phase: number; middle: number } | null = null;
  for (let round = 0; round < ROUNDS; round++) {
    const length = Math.max(8 / f, (to - from) / blocks);
    const parts = harmonicsOf(x, from, to, length, f, harmonics);
    if (parts.length < 4) return null;
    // The spectrum may be off by half a line: only the fundamental can take that up, then the harmonics agree.
    for (const used of round === 0 ? [1, Math.ceil(Math.sqrt(harmonics)), harmonics] : [harmonics]) {
      const coarse = bestOffset(parts, used, length);
      rotate(parts, coarse);
      f += coarse;
    }
    const shape = common(parts, harmonics);
    const phases = parts.map((p) => phaseOf(p, shape));
    const present = longestRun(phases.map((p) => p.height > PRESENT));
    if (present.to - present.from < 4) return null;
    const kept = phases.slice(present.from, present.to);
    const times = parts.slice(present.from, present.to).map((p) => p.middle);
    const line = fitLine(
      times,
      kept.map((p) => p.late),
    );
    if (line === null) return null;
    const middle = times[times.length >> 1]!;
    f -= line.slope;
    fitted = {
      slope: line.slope,
      error: errorOfSlope(
        times,
        kept.map((p) => p.late),
        line.slope,
        line.intercept,
        line.slopeError,
      ),
      phase: line.intercept + line.slope * middle,
      middle,
    };
    from = Math.max(0, Math.round(times[0]! - length / 2));
    to = Math.min(x.length, Math.round(times[times.length - 1]! + length / 2));
  }
  if (fitted === null || !(f > 0)) return null;
  return { period: 1 / f, periodU: fitted.error / (f * f), beat: fitted.middle, from, to };
}

/** Complex amplitudes of the harmonics of f, block by block, all counted from sample 0; by folding. */
function harmonicsOf(
  x: Float64Array,
  from: number,
  to: number,
  length: number,
  f: number,
  harmonics: number,
): Block[] {
  const bins = Math.max(64, 2 ** Math.ceil(Math.log2(4 * harmonics)));
  const cos = Float64Array.from({ length: bins }, (_, i) => Math.cos((2 * Math.PI * i) / bins));
  const sin = Float64Array.from({ length: bins }, (_, i) => Math.sin((2 * Math.PI * i) / bins));
  const out: Block[] = [];
  for (let a = from; a + length <= to + 1; a += length) {
    const start = Math.round(a);
    const end = Math.min(x.length, Math.round(a + length));
    const folded = new Float64Array(bins);
    let phase = f * start - Math.floor(f * start);
    for (let i = start; i < end; i++) {
      folded[(phase * bins) | 0]! += x[i]!;
      phase += f;
      if (phase >= 1) phase -= 1;
    }
    const re = new Float64Array(harmonics);
    const im = new Float64Array(harmonics);
    for (let h = 1; h <= harmonics; h++)
      for (let b = 0; b < bins; b++) {
        const k = (h * b) % bins;
        re[h - 1]! += folded[b]! * cos[k]!;
        im[h - 1]! -= folded[b]! * sin[k]!;
      }
    out.push({ middle: (start + end) / 2, re, im });
  }
  return out;
}

/** The small change of frequency for which the blocks agree best; searched to one turn of the highest harmonic in a block. */
function bestOffset(parts: readonly Block[], harmonics: number, length: number): number {
  const span = parts[parts.length - 1]!.middle - parts[0]!.middle;
  const step = 1 / (6 * harmonics * span);
  let best = 0;
  let most = -1;
  // Evenly spaced blocks repeat themselves one turn away: stay well inside half of it.
  const reach = 0.45 / (harmonics * length);
  for (let d = -reach; d <= reach; d += step) {
    let total = 0;
    for (let h = 0; h < harmonics; h++) {
      let re = 0;
      let im = 0;
      for (const p of parts) {
        const a = -2 * Math.PI * (h + 1) * d * p.middle;
        re += p.re[h]! * Math.cos(a) - p.im[h]! * Math.sin(a);
        im += p.re[h]! * Math.sin(a) + p.im[h]! * Math.cos(a);
      }
      total += re * re + im * im;
    }
    if (total > most) {
      most = total;
      best = d;
    }
  }
  return best;
}

function rotate(parts: readonly Block[], d: number): void {
  for (const p of parts)
    for (let h = 0; h < p.re.length; h++) {
      const a = -2 * Math.PI * (h + 1) * d * p.middle;
      const re = p.re[h]! * Math.cos(a) - p.im[h]! * Math.sin(a);
      p.im[h] = p.re[h]! * Math.sin(a) + p.im[h]! * Math.cos(a);
      p.re[h] = re;
    }
}

function common(parts: readonly Block[], harmonics: number): Block {
  const re = new Float64Array(harmonics);
  const im = new Float64Array(harmonics);
  for (const p of parts)
    for (let h = 0; h < harmonics; h++) {
      re[h]! += p.re[h]! / parts.length;
      im[h]! += p.im[h]! / parts.length;
    }
  return { middle: 0, re, im };
}

/** How late a block's pulses are against the common shape (in periods), and how high relative to it. */
function phaseOf(p: Block, shape: Block): { late: number; height: number } {
  const n = p.re.length;
  let energy = 0;
  const cr = new Float64Array(n);
  const ci = new Float64Array(n);
  for (let h = 0; h < n; h++) {
    cr[h] = p.re[h]! * shape.re[h]! + p.im[h]! * shape.im[h]!;
    ci[h] = p.im[h]! * shape.re[h]! - p.re[h]! * shape.im[h]!;
    energy += shape.re[h]! ** 2 + shape.im[h]! ** 2;
  }
  const at = (late: number): number => {
    let sum = 0;
    for (let h = 0; h < n; h++) {
      const a = 2 * Math.PI * (h + 1) * late;
      sum += cr[h]! * Math.cos(a) - ci[h]! * Math.sin(a);
    }
    return sum;
  };
  // The common shape is within half a period by construction; search near zero, then refine by halving.
  let late = 0;
  const grid = 8 * n;
  for (let k = -grid / 2; k < grid / 2; k++) if (at(k / grid) > at(late)) late = k / grid;
  for (let step = 0.5 / grid; step > 1e-7; step /= 2) {
    if (at(late + step) > at(late)) late += step;
    else if (at(late - step) > at(late)) late -= step;
  }
  return { late, height: at(0) / Math.max(energy, 1e-300) };
}

function longestRun(flags: readonly boolean[]): { from: number; to: number } {
  let best = { from: 0, to: 0 };
  let from = 0;
  for (let i = 0; i <= flags.length; i++) {
    // One weak block inside a run is noise, two are an end.
    const goes = flags[i] === true || (flags[i - 1] === true && flags[i + 1] === true);
    if (goes) continue;
    if (i - from > best.to - best.from) best = { from, to: i };
    from = i + 1;
  }
  return best;
}

/** Slope error that allows for phases that walk: the larger of the white one and that of its increments. */
function errorOfSlope(
  t: readonly number[],
  y: readonly number[],
  slope: number,
  intercept: number,
  white: number,
): number {
  const residual = y.map((v, i) => v - intercept - slope * t[i]!);
  let near = 0;
  let far = 0;
  const lag = Math.max(2, y.length >> 2);
  for (let i = 1; i < y.length; i++) near += (residual[i]! - residual[i - 1]!) ** 2 / (y.length - 1);
  for (let i = lag; i < y.length; i++) far += (residual[i]! - residual[i - lag]!) ** 2 / (y.length - lag);
  const span = t[t.length - 1]! - t[0]!;
  const walkPerTime = Math.max(0, far - near) / ((lag * span) / (y.length - 1));
  return Math.hypot(white, Math.sqrt((1.2 * walkPerTime) / span));
}
