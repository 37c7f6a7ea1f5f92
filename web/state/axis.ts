import { figureLine, roundedFigure } from './figure.ts';

/**
 * Below this the current axis is even; above it each decade takes equal room. A car draws twenty amperes at
 * locking and twenty milliamperes asleep, and both must be read from one chart.
 */
export const EVEN_BELOW_A = 0.01;

export type CurrentScale = 'stretched' | 'even';

/** Height on the stretched axis, in its own units. */
export function stretched(valueA: number): number {
  return Math.asinh(valueA / EVEN_BELOW_A);
}

export function unstretched(height: number): number {
  return Math.sinh(height) * EVEN_BELOW_A;
}

/** The current axis always shows zero, so that a level can be judged by eye. */
export function currentRange(min: number | null, max: number | null, scale: CurrentScale): [number, number] {
  const low = Math.min(0, min ?? 0);
  const high = Math.max(0.02, max ?? 0);
  if (scale === 'even') {
    const room = (high - low) * 0.06;
    return [low < 0 ? low - room : 0, high + room];
  }
  const bottom = stretched(low);
  const top = stretched(high);
  const room = (top - bottom) * 0.06;
  return [low < 0 ? unstretched(bottom - room) : 0, unstretched(top + room)];
}

/** The voltage axis fits what is there, but never magnifies less than 0.1 V to full height. */
export function voltageRange(min: number | null, max: number | null): [number, number] {
  if (min === null || max === null) return [12, 13];
  const span = Math.max(max - min, 0.1);
  const middle = (min + max) / 2;
  return [middle - span * 0.56, middle + span * 0.56];
}

/** Marks of the stretched axis: zero, decades, then what lies between, as far as `least` (share of height) lets them stand apart. */
export function stretchedTicks(min: number, max: number, least: number): number[] {
  const height = stretched(max) - stretched(min);
  const kept: number[] = [];
  const far = (v: number): boolean =>
    kept.every((k) => Math.abs(stretched(k) - stretched(v)) >= least * height);
  const offer = (v: number): void => {
    if (v >= min && v <= max && far(v)) kept.push(v);
  };
  offer(0);
  for (const mantissa of [1, 3, 2, 5]) {
    for (let e = -3; e <= 3; e++) {
      offer(mantissa * 10 ** e);
      offer(-mantissa * 10 ** e);
    }
  }
  return kept.sort((a, b) => a - b);
}

/** Marks of an even axis on round values, at most about `most`. */
export function evenTicks(min: number, max: number, most: number): number[] {
  const span = max - min;
  if (!(span > 0) || most < 1) return [];
  const base = 10 ** Math.floor(Math.log10(span / most));
  const step = base * ([1, 2, 5, 10].find((m) => span / (base * m) <= most) ?? 10);
  const ticks: number[] = [];
  for (let k = Math.ceil(min / step - 1e-9); k * step <= max + step * 1e-9; k++)
    ticks.push(Number((k * step).toPrecision(12)));
  return ticks;
}

/** "20 mA", "1 A", "0". */
export function currentTickText(valueA: number): string {
  if (valueA === 0) return '0';
  const small = Math.abs(valueA) < 1;
  const number = Number((small ? valueA * 1000 : valueA).toPrecision(4));
  return `${String(number).replace('-', '\u2212')}\u00a0${small ? 'mA' : 'A'}`;
}

export function voltageTickText(value: number, stepV: number): string {
  const places = stepV >= 0.1 ? 1 : stepV >= 0.01 ? 2 : 3;
  return `${value.toFixed(places)}\u00a0V`;
}

/** What the axis says about itself. */
export function currentAxisTitle(scale: CurrentScale): string {
  return scale === 'even'
    ? 'Current, even scale'
    : `Current, even below ${figureLine(roundedFigure('current', EVEN_BELOW_A)).replace('.0', '')}, by decades above`;
}

export type AxisRange = [number, number];

/**
 * The range of a running chart: grows at once, so that nothing is cut off, but shrinks only when the curve
 * needs less than half of it, so that the axis does not twitch.
 */
export function steadyRange(held: AxisRange | null, fresh: AxisRange, onStretched: boolean): AxisRange {
  if (held === null) return fresh;
  const grown: AxisRange = [Math.min(held[0], fresh[0]), Math.max(held[1], fresh[1])];
  const size = ([a, b]: AxisRange): number => (onStretched ? stretched(b) - stretched(a) : b - a);
  return size(fresh) < size(grown) / 2 ? fresh : grown;
}
