import { lowerBound, mergeSpans, type Conditioned, type Span } from './condition.ts';
import type { FloorOverTime } from './floor.ts';
import type { Beat } from './stretches.ts';

/** Where pulses cannot be told: at steps and the edges of wake-ups, and all through wake-ups. In order. */
export interface Hidden {
  readonly edges: readonly Span[];
  readonly raised: readonly Span[];
}

/**
 * Mean of all readings of a stretch above the floor, outside what hides pulses. Exact whatever becomes of single
 * pulses; uncertain by what readings that were lost may have held.
 */
export function meanExcess(
  c: Conditioned,
  stretch: Beat,
  floor: FloorOverTime,
  hidden: Hidden,
): { mean: number; standardU: number } | null {
  const spans = mergeSpans([...hidden.edges, ...hidden.raised]);
  const interval = c.intervalS ?? 0;
  const end = stretch.lastS + stretch.periodS / 2;
  let sum = 0;
  let squares = 0;
  let n = 0;
  let next = 0;
  let lost = 0;
  for (let i = lowerBound(c.t, stretch.firstS - stretch.periodS / 2); i < c.t.length && c.t[i]! < end; i++) {
    const t = c.t[i]!;
    while (next < spans.length && spans[next]!.endS < t) next++;
    if (next < spans.length && spans[next]!.startS <= t) continue;
    const e = c.y[i]! - floor.at(t);
    sum += e;
    squares += e * e;
    n++;
    const step = i === 0 ? 1 : Math.round((t - c.t[i - 1]!) / interval);
    if (step > 1 && step < 8) lost += step - 1;
  }
  if (n < 2) return null;
  const mean = sum / n;
  const deviation = Math.sqrt(Math.max(0, squares / n - mean * mean));
  return { mean, standardU: (deviation / Math.sqrt(n)) * Math.sqrt((1 + lost) / (n + lost)) };
}
