import type { RecordingDetail } from '../../server/messages/http.ts';
import type { Findings } from '../../server/messages/findings.ts';
import type { ZoomChannel } from '../../server/messages/zoom.ts';
import type { TimeWindow } from './window.ts';

export interface Span {
  readonly startS: number;
  readonly endS: number;
}

/** One channel ready to draw: lowest and highest at each time; null where the line must be broken. */
export interface Curve {
  readonly channelId: number;
  readonly quantity: 'voltage' | 'current' | 'temperature';
  readonly label: string;
  /** Each point is one reading; else each is the extremes of many. */
  readonly raw: boolean;
  readonly t: number[];
  readonly low: (number | null)[];
  readonly high: (number | null)[];
  /** Stretches in view without readings. */
  readonly gaps: readonly Span[];
}

/** Gaps of each channel as the recording logged them and as the analysis saw them, joined where they touch. */
export function gapsByChannel(
  detail: RecordingDetail,
  findings: Findings | null,
): ReadonlyMap<number, readonly Span[]> {
  const out = new Map<number, readonly Span[]>();
  for (const channel of detail.recording.channels) {
    const logged = detail.gaps
      .filter((g) => g.channelId === channel.id)
      .map((g) => ({ startS: g.startMs / 1000, endS: g.endMs / 1000 }));
    const same = detail.recording.channels.filter((c) => c.quantity === channel.quantity);
    // Findings name quantities, not channels: with two meters of one quantity they cannot be attributed.
    const seen =
      same.length === 1
        ? (findings?.recording.channels.find((c) => c.quantity === channel.quantity)?.gaps ?? [])
        : [];
    out.set(channel.id, joinSpans([...logged, ...seen]));
  }
  return out;
}

export function joinSpans(spans: readonly Span[]): Span[] {
  const sorted = spans.filter((s) => s.endS > s.startS).sort((a, b) => a.startS - b.startS);
  const out: { startS: number; endS: number }[] = [];
  for (const s of sorted) {
    const last = out[out.length - 1];
    if (last !== undefined && s.startS <= last.endS) last.endS = Math.max(last.endS, s.endS);
    else out.push({ startS: s.startS, endS: s.endS });
  }
  return out;
}

/** What of a channel is drawn. */
export type Drawn = Pick<ZoomChannel, 'channelId' | 'quantity' | 'raw'> & {
  readonly t: ArrayLike<number>;
  readonly min: ArrayLike<number>;
  readonly max: ArrayLike<number>;
};

/** Breaks a channel's line at its gaps: between the last reading before and the first after stands a null. */
export function curveOf(channel: Drawn, label: string, gaps: readonly Span[], view: TimeWindow): Curve {
  const t: number[] = [];
  const low: (number | null)[] = [];
  const high: (number | null)[] = [];
  let g = 0;
  for (let i = 0; i < channel.t.length; i++) {
    const at = channel.t[i]!;
    const before = i > 0 ? channel.t[i - 1]! : at;
    while (g < gaps.length && gaps[g]!.endS < before) g++;
    const gap = gaps[g];
    // A bucket's time is its middle, so a gap's edges may lie a little outside the two readings around it.
    if (i > 0 && gap !== undefined && overlap(gap, before, at) > 0.5 * Math.min(at - before, length(gap))) {
      t.push((before + at) / 2);
      low.push(null);
      high.push(null);
    }
    t.push(at);
    low.push(channel.min[i]!);
    high.push(channel.max[i]!);
  }
  return {
    channelId: channel.channelId,
    quantity: channel.quantity,
    label,
    raw: channel.raw,
    t,
    low,
    high,
    gaps: gaps.filter((s) => s.endS > view.fromS && s.startS < view.toS),
  };
}

function length(s: Span): number {
  return s.endS - s.startS;
}

function overlap(s: Span, from: number, to: number): number {
  return Math.min(s.endS, to) - Math.max(s.startS, from);
}

/** Lowest and highest of what is drawn. */
export function extremes(curve: Curve): { readonly min: number | null; readonly max: number | null } {
  let min: number | null = null;
  let max: number | null = null;
  for (let i = 0; i < curve.t.length; i++) {
    const lo = curve.low[i];
    const hi = curve.high[i];
    if (lo !== null && lo !== undefined && (min === null || lo < min)) min = lo;
    if (hi !== null && hi !== undefined && (max === null || hi > max)) max = hi;
  }
  return { min, max };
}

/** What the cursor reads at a time: the nearest point, unless it is further than `reachS`. */
export function readAt(
  curve: Curve,
  atS: number,
  reachS: number,
): { readonly low: number; readonly high: number } | null {
  let a = 0;
  let b = curve.t.length - 1;
  if (b < 0) return null;
  while (a < b) {
    const mid = (a + b) >> 1;
    if (curve.t[mid]! < atS) a = mid + 1;
    else b = mid;
  }
  const i = a > 0 && atS - curve.t[a - 1]! < curve.t[a]! - atS ? a - 1 : a;
  const lo = curve.low[i];
  const hi = curve.high[i];
  if (lo === null || lo === undefined || hi === null || hi === undefined) return null;
  return Math.abs(curve.t[i]! - atS) <= reachS ? { low: lo, high: hi } : null;
}
