import type { Quantity } from '../../drivers/core/reading.ts';

/** A figure as it is set on the page: sign and digits apart from the unit, so that they can differ in size. */
export interface Figure {
  readonly digits: string;
  readonly unit: string;
}

export const NO_FIGURE = '–';

/** Moves the decimal point of decimal text to the right by `places`, digit for digit, nothing rounded. */
export function shiftPoint(text: string, places: number): string {
  const m = /^(-?)(\d+)(?:\.(\d*))?$/.exec(text);
  if (m === null) return text;
  const [, sign = '', whole = '', fraction = ''] = m;
  const padded = fraction.padEnd(places, '0');
  const digits = (whole + padded.slice(0, places)).replace(/^0+(?=\d)/, '');
  const rest = padded.slice(places);
  return sign + digits + (rest === '' ? '' : `.${rest}`);
}

/**
 * What the meter's display said, in its own digits: small currents in mA, everything else in its unit.
 * `text` is decimal text in V, A or degC; anything that is not a number is shown as it is.
 */
export function displayFigure(quantity: Quantity, text: string): Figure {
  const value = Number(text);
  if (text.trim() === '' || !Number.isFinite(value))
    return { digits: text.trim() || NO_FIGURE, unit: UNITS[quantity] };
  const small = quantity === 'current' && Math.abs(value) < 1;
  const digits = small ? shiftPoint(text, 3) : text;
  return { digits: digits.replace('-', '\u2212'), unit: small ? 'mA' : UNITS[quantity] };
}

const UNITS: Readonly<Record<Quantity, string>> = { voltage: 'V', current: 'A', temperature: '°C' };

/** A computed value (a mean, a cursor's place), rounded for reading. */
export function roundedFigure(quantity: Quantity, value: number | null): Figure {
  if (value === null || !Number.isFinite(value)) return { digits: NO_FIGURE, unit: UNITS[quantity] };
  if (quantity === 'current' && Math.abs(value) < 0.9995) {
    const mA = value * 1000;
    const size = Math.abs(mA);
    return { digits: minus(mA.toFixed(size >= 99.95 ? 0 : size >= 9.995 ? 1 : 2)), unit: 'mA' };
  }
  const places = quantity === 'voltage' ? 3 : quantity === 'current' ? 2 : 1;
  return { digits: minus(value.toFixed(places)), unit: UNITS[quantity] };
}

function minus(text: string): string {
  return text.replace('-', '\u2212').replace(/^\u2212(?=0(\.0*)?$)/, '');
}

export function figureLine(f: Figure): string {
  return f.digits === NO_FIGURE ? NO_FIGURE : `${f.digits}\u00a0${f.unit}`;
}
