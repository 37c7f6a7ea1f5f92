import { clockText, type Beginning } from './clocktime.ts';
import type { Curve } from './curve.ts';
import { figureLine, roundedFigure } from './figure.ts';
import type { Mark } from './marks.ts';
import type { TimeWindow } from './window.ts';

export const QUANTITY_WORDS = { voltage: 'Voltage', current: 'Current', temperature: 'Temperature' } as const;

/** The quantity; with several channels of it, the channel's own label. */
export function nameOf(curve: Curve, all: readonly Curve[]): string {
  return all.filter((c) => c.quantity === curve.quantity).length > 1
    ? curve.label
    : QUANTITY_WORDS[curve.quantity];
}

/** More marks than these are counted, not read out. */
const MOST_MARKS = 6;

/** What the chart shows, in words, for those who do not see it. */
export function describeView(
  curves: readonly Curve[],
  marks: readonly Mark[],
  view: TimeWindow,
  begin: Beginning,
): string {
  const at = (s: number): string => clockText(begin, s, 'seconds');
  const inView = marks.filter((m) => m.endS >= view.fromS && m.startS <= view.toS);
  const told = inView.slice(0, MOST_MARKS).map((m) => m.title);
  const rest = inView.length - told.length;
  return [
    `From ${at(view.fromS)} to ${at(view.toS)}.`,
    ...curves.map((c) => {
      const seen = extremesIn(c, view);
      if (seen === null) return `${nameOf(c, curves)}: no readings.`;
      const [low, high] = [seen.low, seen.high].map((v) => figureLine(roundedFigure(c.quantity, v)));
      return low === high ? `${nameOf(c, curves)} ${low}.` : `${nameOf(c, curves)} from ${low} to ${high}.`;
    }),
    ...(told.length === 0
      ? ['No marks.']
      : [`Marks: ${told.join('; ')}${rest > 0 ? `; and ${rest} more` : ''}.`]),
  ].join(' ');
}

/** Lowest and highest within a window; null without a reading in it. */
export function extremesIn(
  curve: Curve,
  { fromS, toS }: TimeWindow,
): { readonly low: number; readonly high: number } | null {
  let low = Infinity;
  let high = -Infinity;
  for (let i = 0; i < curve.t.length; i++) {
    const t = curve.t[i]!;
    if (t < fromS || t > toS) continue;
    const [a, b] = [curve.low[i], curve.high[i]];
    if (a !== null && a !== undefined && a < low) low = a;
    if (b !== null && b !== undefined && b > high) high = b;
  }
  return low > high ? null : { low, high };
}

/** The mark that a place on the chart is about: the nearest moment in reach, or the shortest stretch around it. */
export function markAt(marks: readonly Mark[], atS: number, reachS: number): Mark | null {
  let best: Mark | null = null;
  let least = Infinity;
  for (const m of marks) {
    const from = m.startS - reachS;
    if (atS < from || atS > Math.max(m.startS, m.kind === 'gap' ? m.endS : m.startS) + reachS) continue;
    const distance = m.kind === 'gap' ? reachS : Math.abs(m.startS - atS);
    if (distance < least) [best, least] = [m, distance];
  }
  return best;
}
