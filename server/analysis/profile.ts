/** The folded pulse: all repetitions laid over each other, and the part of it that stands out. */

export interface Profile {
  /** Mean of the readings in each phase bin, and how many there were. */
  readonly mean: Float64Array;
  readonly count: Float64Array;
  /** Standard deviation of single readings about the profile. */
  readonly deviation: number;
}

/** Folds samples [from, to) at a period in samples; a sample that is NaN is missing. */
export function fold(x: Float64Array, from: number, to: number, period: number, bins: number): Profile {
  const mean = new Float64Array(bins);
  const count = new Float64Array(bins);
  const f = 1 / period;
  let squares = 0;
  let phase = f * from - Math.floor(f * from);
  for (let i = from; i < to; i++) {
    const b = (phase * bins) | 0;
    const v = x[i]!;
    if (v === v) {
      mean[b]! += v;
      count[b]!++;
      squares += v * v;
    }
    phase += f;
    if (phase >= 1) phase -= 1;
  }
  let explained = 0;
  let n = 0;
  for (let b = 0; b < bins; b++) {
    if (count[b]! === 0) continue;
    mean[b]! /= count[b]!;
    explained += count[b]! * mean[b]! ** 2;
    n += count[b]!;
  }
  return { mean, count, deviation: Math.sqrt(Math.max(0, squares - explained) / Math.max(1, n - bins)) };
}

export interface Box {
  /** Part of the period that stands out, 0..1, and by how much; negative for a dip. */
  readonly share: number;
  readonly height: number;
  /** Height over its standard deviation. */
  readonly significance: number;
  /** Phase of the middle, 0..1. */
  readonly middle: number;
  /** Level outside, and the mean of everything above it, with their standard uncertainties. */
  readonly floor: number;
  readonly floorU: number;
  readonly excess: number;
  /** Mean of the middle third of the box above the floor: what one whole pulse adds to a reading. */
  readonly top: number;
}

/** The stretch of phase, up to half the period, whose mean differs most significantly from the rest. */
export function bestBox(p: Profile): Box | null {
  const bins = p.mean.length;
  const sum = new Float64Array(2 * bins + 1);
  const num = new Float64Array(2 * bins + 1);
  for (let i = 0; i < 2 * bins; i++) {
    const b = i % bins;
    sum[i + 1] = sum[i]! + p.mean[b]! * p.count[b]!;
    num[i + 1] = num[i]! + p.count[b]!;
  }
  const all = sum[bins]!;
  const n = num[bins]!;
  let best = { start: 0, width: 0, height: 0, significance: 0 };
  for (let width = 1; width <= bins / 2; width++)
    for (let start = 0; start < bins; start++) {
      const inside = num[start + width]! - num[start]!;
      if (inside < 1 || n - inside < 1) continue;
      const total = sum[start + width]! - sum[start]!;
      const height = total / inside - (all - total) / (n - inside);
      const significance = Math.abs(height) / (p.deviation * Math.sqrt(1 / inside + 1 / (n - inside)));
      if (significance > best.significance) best = { start, width, height, significance };
    }
  if (best.width === 0) return null;
  const outside = floorOutside(p, best.start, best.width);
  const inside = num[best.start + best.width]! - num[best.start]!;
  const level = (sum[best.start + best.width]! - sum[best.start]!) / inside;
  return {
    share: best.width / bins,
    height: level - outside.level,
    significance: best.significance,
    middle: ((best.start + best.width / 2) / bins) % 1,
    floor: outside.level,
    floorU: p.deviation / Math.sqrt(Math.max(1, outside.count)),
    excess: all / n - outside.level,
    top: middleOf(p, best.start, best.width) - outside.level,
  };
}

function middleOf(p: Profile, start: number, width: number): number {
  const bins = p.mean.length;
  let sum = 0;
  let n = 0;
  for (let i = Math.floor(width / 3); i < Math.ceil((2 * width) / 3); i++) {
    const b = (start + i) % bins;
    sum += p.mean[b]! * p.count[b]!;
    n += p.count[b]!;
  }
  return n === 0 ? 0 : sum / n;
}

/** Mean outside the box, a guard bin and whatever else stands out (the other pulses of a burst). */
function floorOutside(p: Profile, start: number, width: number): { level: number; count: number } {
  const bins = p.mean.length;
  const guard = Math.max(1, Math.round(bins / 64));
  const out: number[] = [];
  for (let i = width + guard; i < bins - guard; i++) {
    const b = (start + i) % bins;
    if (p.count[b]! > 0) out.push(b);
  }
  let kept = out;
  let level = 0;
  let count = 0;
  for (let round = 0; round < 5; round++) {
    let sum = 0;
    count = 0;
    for (const b of kept) {
      sum += p.mean[b]! * p.count[b]!;
      count += p.count[b]!;
    }
    level = count > 0 ? sum / count : 0;
    const next = out.filter((b) => Math.abs(p.mean[b]! - level) < (4 * p.deviation) / Math.sqrt(p.count[b]!));
    if (next.length === kept.length || next.length < out.length / 4) break;
    kept = next;
  }
  return { level, count };
}
