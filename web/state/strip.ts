import type { Zoom } from '../../server/messages/zoom.ts';
import { stretched } from './axis.ts';
import type { Drawn } from './curve.ts';

export interface StripPath {
  readonly quantity: 'current' | 'voltage';
  /** SVG path data in a box of 240 x 40: up to the highest, and up to the lowest, at each time. */
  readonly peaks: string;
  readonly floor: string;
}

const WIDTH = 240;
const HEIGHT = 40;

/** The silhouette of a recording: current on the stretched scale, or voltage where there is no current. */
export function stripPath(
  chart: Pick<Zoom, 'fromS' | 'toS'> & { readonly channels: readonly Drawn[] },
): StripPath | null {
  const channel =
    chart.channels.find((c) => c.quantity === 'current' && c.t.length > 1) ??
    chart.channels.find((c) => c.quantity === 'voltage' && c.t.length > 1);
  if (channel === undefined || channel.quantity === 'temperature') return null;
  const isCurrent = channel.quantity === 'current';
  const height = (v: number): number => (isCurrent ? stretched(v) : v);
  const lows = Array.from(channel.min, height);
  const highs = Array.from(channel.max, height);
  const bottom = isCurrent ? Math.min(0, ...lows) : Math.min(...lows);
  const top = Math.max(...highs);
  const size = Math.max(top - bottom, isCurrent ? stretched(0.02) : 0.1);
  const span = chart.toS - chart.fromS;
  const x = (t: number): number => round((span > 0 ? (t - chart.fromS) / span : 0) * WIDTH);
  const y = (h: number): number => round(HEIGHT - 1 - ((h - bottom) / size) * (HEIGHT - 2));
  const base = isCurrent ? y(0) : HEIGHT;
  const under = (heights: readonly number[]): string => {
    const edge = Array.from(channel.t, (t, i) => `${x(t)} ${y(heights[i]!)}`);
    const [first, last] = [x(channel.t[0]!), x(channel.t[channel.t.length - 1]!)];
    return `M${first} ${base}L${edge.join('L')}L${last} ${base}Z`;
  };
  return { quantity: channel.quantity, peaks: under(highs), floor: under(lows) };
}

function round(n: number): number {
  return Math.round(n * 10) / 10;
}
