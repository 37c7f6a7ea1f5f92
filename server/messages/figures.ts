import type { Estimate } from './findings.ts';

/** Figures as a technician writes them: trade units, and no digit that the uncertainty does not carry. */

interface Scaled {
  readonly unit: string;
  readonly factor: number;
  /** Decimals beyond which a figure tells a technician nothing, however small its statistical uncertainty. */
  readonly finest: number;
}

function scaleFor(quantity: keyof typeof SCALES, magnitude: number): Scaled {
  const steps = SCALES[quantity];
  return steps.find((s) => magnitude < s.below) ?? steps[steps.length - 1]!;
}

const SCALES = {
  current: [
    { below: 1, unit: 'mA', factor: 1e3, finest: 2 },
    { below: Infinity, unit: 'A', factor: 1, finest: 3 },
  ],
  voltage: [{ below: Infinity, unit: 'V', factor: 1, finest: 3 }],
  charge: [
    { below: 36, unit: 'mAh', factor: 1 / 3.6, finest: 2 },
    { below: Infinity, unit: 'Ah', factor: 1 / 3600, finest: 3 },
  ],
  pulseCharge: [
    { below: 1, unit: 'mC', factor: 1e3, finest: 2 },
    { below: Infinity, unit: 'C', factor: 1, finest: 3 },
  ],
  resistance: [
    { below: 1, unit: 'mohm', factor: 1e3, finest: 1 },
    { below: Infinity, unit: 'ohm', factor: 1, finest: 3 },
  ],
  period: [
    { below: 600, unit: 's', factor: 1, finest: 5 },
    { below: Infinity, unit: 'min', factor: 1 / 60, finest: 3 },
  ],
  width: [
    { below: 1, unit: 'ms', factor: 1e3, finest: 1 },
    { below: Infinity, unit: 's', factor: 1, finest: 5 },
  ],
  percent: [{ below: Infinity, unit: '%', factor: 100, finest: 1 }],
  days: [{ below: Infinity, unit: 'days', factor: 1, finest: 1 }],
} as const satisfies Record<string, readonly (Scaled & { readonly below: number })[]>;

export type FigureKind = keyof typeof SCALES;

/**
 * Decimal places that an expanded uncertainty leaves meaningful, negative for tens and hundreds: two
 * significant digits of it where it starts with a 1, else one (JCGM 100:2008, 7.2.6: one or two digits).
 */
export function decimalsFor(uncertainty: number): number {
  const lead = Math.floor(Math.log10(uncertainty) + 1e-9);
  const digit = uncertainty / 10 ** lead;
  return Math.min(9, (digit < 1.95 ? 1 : 0) - lead);
}

function roundedTo(value: number, decimals: number): string {
  if (decimals >= 0) return value.toFixed(decimals);
  const step = 10 ** -decimals;
  return String(Math.round(value / step) * step);
}

/**
 * For example "31.2 mA ± 0.8 mA"; null gives null. Rounds to the digit that the uncertainty carries; where
 * that is finer than anyone uses, the uncertainty is rounded up to the last digit shown.
 */
export function estimateText(estimate: Estimate, kind: FigureKind): string | null {
  if (estimate === null) return null;
  const { unit, factor, finest } = scaleFor(kind, Math.abs(estimate.value));
  const u = estimate.expandedUncertainty * factor;
  const value = estimate.value * factor;
  if (!(u > 0) || !Number.isFinite(u)) return `${significant(value, 3)} ${unit}`;
  const decimals = Math.min(decimalsFor(u), finest);
  const shown = decimals < decimalsFor(u) ? Math.ceil(u * 10 ** decimals) / 10 ** decimals : u;
  return `${roundedTo(value, decimals)} ${unit} ± ${roundedTo(shown, decimals)} ${unit}`;
}

/** A bare figure with three significant digits, for example "240 mA" or "1.25 A". */
export function figureText(value: number, kind: FigureKind): string {
  const { unit, factor } = scaleFor(kind, Math.abs(value));
  return `${significant(value * factor, 3)} ${unit}`;
}

function significant(value: number, digits: number): string {
  if (value === 0 || !Number.isFinite(value)) return '0';
  const lead = Math.floor(Math.log10(Math.abs(value)));
  const decimals = Math.max(0, Math.min(9, digits - 1 - lead));
  return value.toFixed(decimals);
}

/** A length of time to its two leading units: "0.75 s", "40 s", "12 min 40 s", "2 h 5 min", "5 days 3 h". */
export function durationText(seconds: number): string {
  const s = Math.abs(seconds);
  if (s < 9.95) return `${significant(s, 2)} s`;
  const whole = Math.round(s);
  if (whole < 60) return `${whole} s`;
  if (whole < 3600) return pair(Math.floor(whole / 60), 'min', whole % 60, 's');
  const minutes = Math.round(s / 60);
  if (minutes < 48 * 60) return pair(Math.floor(minutes / 60), 'h', minutes % 60, 'min');
  const hours = Math.round(s / 3600);
  return pair(Math.floor(hours / 24), 'days', hours % 24, 'h');
}

function pair(big: number, bigUnit: string, small: number, smallUnit: string): string {
  return small === 0 ? `${big} ${bigUnit}` : `${big} ${bigUnit} ${small} ${smallUnit}`;
}
