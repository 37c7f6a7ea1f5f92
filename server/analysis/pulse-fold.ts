import type { BeatBlock, Piece } from './beat.ts';
import { median, quantile, sortedQuantile } from './statistics.ts';

/** All pulses of a train laid over each other; times are seconds from the pulse's beginning. */
export interface PulseFold {
  readonly fromS: number;
  readonly toS: number;
  /** In equal parts of that span: middle half of the readings, and their median; NaN where none fell. */
  readonly t: Float64Array;
  readonly median: Float64Array;
  readonly lower: Float64Array;
  readonly upper: Float64Array;
  /** Some of the readings themselves, evenly picked. */
  readonly points: { readonly t: Float64Array; readonly y: Float64Array };
  readonly readings: number;
  readonly pulses: number;
}

const FINE = 512;
const PARTS = 120;
const MOST_POINTS = 2400;

/** Null where the blocks hold too few readings to show a shape. */
export function foldPulses(
  pieces: readonly Piece[],
  blocks: readonly BeatBlock[],
  periodS: number,
): PulseFold | null {
  const total = blocks.reduce((n, b) => n + b.to - b.from, 0);
  if (total < 100) return null;
  const all = gather(pieces, blocks, periodS, null);
  const { height } = standsOut(all.phase, all.value);
  // Pulses that ride on something else, an awake module or a wake-up, would hide the others.
  const levels = levelsOf(pieces, blocks, periodS, height);
  const usual = median(levels);
  const bare = gather(
    pieces,
    blocks,
    periodS,
    levels.map((level) => Math.abs(level - usual) < 0.35 * Math.abs(height)),
  );
  const { phase, value, pulses } = bare.value.length < 100 ? all : bare;
  const pulse = standsOut(phase, value);
  // The pulse with room on either side; a wide one is shown with its whole period.
  const room = Math.min(1, Math.max(6 * pulse.share, 0.02));
  const before = room < 1 ? room * 0.3 : Math.min(0.25, (1 - pulse.share) / 2);
  const fromS = -before * periodS;
  const toS = fromS + room * periodS;
  const parts: number[][] = Array.from({ length: PARTS }, () => []);
  const inside: number[] = [];
  for (let i = 0; i < phase.length; i++) {
    const since = phase[i]! - pulse.begin + before;
    const x = (since - Math.floor(since)) / room;
    if (x >= 1) continue;
    phase[i] = x;
    inside.push(i);
    parts[Math.floor(x * PARTS)]!.push(value[i]!);
  }
  const at = (x: number): number => fromS + x * (toS - fromS);
  for (const p of parts) p.sort((a, b) => a - b);
  const column = (q: number): Float64Array =>
    Float64Array.from(parts, (p) => (p.length === 0 ? NaN : sortedQuantile(p, q)));
  const step = Math.max(1, inside.length / MOST_POINTS);
  const picked = Array.from(
    { length: Math.floor(inside.length / step) },
    (_, k) => inside[Math.floor(k * step)]!,
  );
  return {
    fromS,
    toS,
    t: Float64Array.from({ length: PARTS }, (_, k) => at((k + 0.5) / PARTS)),
    median: column(0.5),
    lower: column(0.25),
    upper: column(0.75),
    points: {
      t: Float64Array.from(picked, (i) => at(phase[i]!)),
      y: Float64Array.from(picked, (i) => value[i]!),
    },
    readings: phase.length,
    pulses: Math.round(pulses),
  };
}

interface Gathered {
  readonly phase: Float64Array;
  readonly value: Float64Array;
  readonly pulses: number;
}

/** Readings in so many periods, at least, share one level. */
const LEVEL_PERIODS = 3;
const LEVEL_READINGS = 24;

/** The blocks in short parts, each with its samples [from, to). */
function* partsOf(
  pieces: readonly Piece[],
  blocks: readonly BeatBlock[],
  periodS: number,
): Generator<{ readonly block: BeatBlock; readonly from: number; readonly to: number }> {
  for (const block of blocks) {
    const { t } = pieces[block.piece]!;
    for (let from = block.from; from < block.to;) {
      let to = from + 1;
      while (to < block.to && (t[to]! - t[from]! < LEVEL_PERIODS * periodS || to - from < LEVEL_READINGS))
        to++;
      yield { block, from, to };
      from = to;
    }
  }
}

/** On what the pulses of each part stand. */
function levelsOf(
  pieces: readonly Piece[],
  blocks: readonly BeatBlock[],
  periodS: number,
  height: number,
): number[] {
  return Array.from(partsOf(pieces, blocks, periodS), ({ block, from, to }) =>
    quantile(pieces[block.piece]!.y.subarray(from, to), height > 0 ? 0.1 : 0.9),
  );
}

/** Phases and values of the readings in the parts that are wanted. */
function gather(
  pieces: readonly Piece[],
  blocks: readonly BeatBlock[],
  periodS: number,
  wanted: readonly boolean[] | null,
): Gathered {
  const phase: number[] = [];
  const value: number[] = [];
  let pulses = 0;
  let k = 0;
  for (const { block, from, to } of partsOf(pieces, blocks, periodS)) {
    if (wanted !== null && !wanted[k++]!) continue;
    const { t, y } = pieces[block.piece]!;
    for (let i = from; i < to; i++) {
      const x = t[i]! / periodS - block.late - block.driftPerS * (t[i]! - block.middleS);
      phase.push(x - Math.floor(x));
      value.push(y[i]!);
    }
    // Readings stand for a little more time than lies between the first and the last.
    const stretch = (to - from) / Math.max(1, to - from - 1);
    pulses += (stretch * (t[to - 1]! - t[from]!)) / periodS;
  }
  return { phase: Float64Array.from(phase), value: Float64Array.from(value), pulses };
}

/** Where the pulse begins (0..1), how much of the period it takes (what is over half its height), and the height. */
function standsOut(
  phase: Float64Array,
  value: Float64Array,
): { begin: number; share: number; height: number } {
  const bins = Math.min(FINE, Math.max(24, Math.floor(phase.length / 8)));
  const sum = new Float64Array(bins);
  const count = new Float64Array(bins);
  for (let i = 0; i < phase.length; i++) {
    const b = Math.min(bins - 1, Math.floor(phase[i]! * bins));
    sum[b]! += value[i]!;
    count[b]!++;
  }
  const mean = sum.map((s, b) => (count[b]! > 0 ? s / count[b]! : NaN));
  const known = [...mean].filter((m) => !Number.isNaN(m)).sort((a, b) => a - b);
  const floor = sortedQuantile(known, 0.5);
  const [low, high] = [known[0]!, known[known.length - 1]!];
  // A train may stand high most of the time: then the dip is what stands out.
  const half = high - floor >= floor - low ? (floor + high) / 2 : (floor + low) / 2;
  const out = (b: number): boolean => (half > floor ? mean[b]! > half : mean[b]! < half);
  let best = { from: 0, length: 0 };
  for (let from = 0; from < bins; from++) {
    if (!out(from) || out((from + bins - 1) % bins)) continue;
    let length = 1;
    while (length < bins && out((from + length) % bins)) length++;
    if (length > best.length) best = { from, length };
  }
  return {
    begin: best.from / bins,
    share: best.length / bins,
    height: (half - floor) * 2,
  };
}
