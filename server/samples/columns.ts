import { isLive, valueOf } from '../../drivers/core/reading.ts';

/**
 * Samples of one channel as columns of equal length: time in milliseconds from the recording's start, and
 * the meter's own digits (`counts` x 10^`scale`, see drivers/core/reading.ts) with their flags.
 */
export interface SampleColumns {
  readonly length: number;
  readonly t: Float64Array;
  readonly counts: Float64Array;
  readonly scale: Int8Array;
  readonly flags: Uint16Array;
}

/** Live samples only, as numbers: seconds from the recording's start and values in the channel's unit. */
export interface Series {
  readonly t: Float64Array;
  readonly y: Float64Array;
}

export function emptyColumns(): SampleColumns {
  return columnsOf([], [], [], []);
}

export function columnsOf(
  t: ArrayLike<number>,
  counts: ArrayLike<number>,
  scale: ArrayLike<number>,
  flags: ArrayLike<number>,
): SampleColumns {
  const n = t.length;
  if (counts.length !== n || scale.length !== n || flags.length !== n)
    throw new RangeError('columns differ in length');
  return {
    length: n,
    t: Float64Array.from(t),
    counts: Float64Array.from(counts),
    scale: Int8Array.from(scale),
    flags: Uint16Array.from(flags),
  };
}

export function sliceColumns(c: SampleColumns, from: number, to: number): SampleColumns {
  const t = c.t.slice(from, to);
  return {
    length: t.length,
    t,
    counts: c.counts.slice(from, to),
    scale: c.scale.slice(from, to),
    flags: c.flags.slice(from, to),
  };
}

export function joinColumns(parts: readonly SampleColumns[]): SampleColumns {
  const length = parts.reduce((n, p) => n + p.length, 0);
  const out = {
    length,
    t: new Float64Array(length),
    counts: new Float64Array(length),
    scale: new Int8Array(length),
    flags: new Uint16Array(length),
  };
  let at = 0;
  for (const p of parts) {
    out.t.set(p.t, at);
    out.counts.set(p.counts, at);
    out.scale.set(p.scale, at);
    out.flags.set(p.flags, at);
    at += p.length;
  }
  return out;
}

/** Drops what is not live (overload, hold, AC, no value, ...) and converts to seconds and SI values. */
export function liveSeries(c: SampleColumns): Series {
  return liveSeriesOf([c], c.length);
}

/** The same of a channel in pieces, of which only one need be in memory. @param most samples in all of them @throws RangeError */
export function liveSeriesOf(parts: Iterable<SampleColumns>, most: number): Series {
  const t = new Float64Array(most);
  const y = new Float64Array(most);
  let n = 0;
  for (const c of parts) {
    if (n + c.length > most) throw new RangeError('more samples than were said to come');
    for (let i = 0; i < c.length; i++) {
      if (!isLive(c.flags[i]!)) continue;
      t[n] = c.t[i]! / 1000;
      y[n] = valueOf(c.counts[i]!, c.scale[i]!);
      n++;
    }
  }
  return { t: t.subarray(0, n), y: y.subarray(0, n) };
}
