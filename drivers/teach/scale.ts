import type { Example, Lesson } from './examples.ts';
import type { RawValue } from './value.ts';

/** How a raw number becomes the figure shown: a power of ten for each mode of the lesson. */
export interface Scale {
  /** By mode: 10^n in the unit without prefix; null where only zeros were shown. */
  readonly exponents: readonly (number | null)[];
  /** Digits beyond those shown, at most, that the raw number carries. */
  readonly hidden: number;
}

type Rounding = (x: number, counts: number) => boolean;

const tolerance = (counts: number) => 1e-6 * Math.abs(counts) + 1e-9;

/** Exactly between two figures; a binary float never is, as far as anybody can tell. */
const isTie = (x: number, counts: number) => Math.abs(x - counts) === 0.5;

/** A display rounds (ties away from zero, or to even) or cuts what it cannot show, and always in the same way. */
const ROUNDINGS: readonly Rounding[] = [
  (x, counts) =>
    isTie(x, counts) ? Math.abs(x) < Math.abs(counts) : Math.abs(x - counts) <= 0.5 + tolerance(counts),
  (x, counts) => (isTie(x, counts) ? counts % 2 === 0 : Math.abs(x - counts) <= 0.5 + tolerance(counts)),
  (x, counts) => {
    const excess = counts < 0 || (counts === 0 && x < 0) ? counts - x : x - counts;
    return excess >= -tolerance(counts) && excess < 1 - tolerance(counts);
  },
];

export const HIGHEST_HIDDEN = 6;
/** A raw number may be coarser than the display by so many digits. */
const HIGHEST_COARSER = 2;
const LOWEST_POWER = -12;
const HIGHEST_POWER = 6;

/**
 * The scale under which the raw numbers give every figure shown, to its last digit; null where there is none.
 * @param read raw number of example i of `lesson.figures`, with its sign where the field has one
 * @param magnitude the raw numbers have no sign: compare without
 * @param float they have exponents of their own, so only a prefix (milli, micro) can be missing
 */
export function findScale(
  lesson: Lesson,
  read: (example: Example, index: number) => RawValue,
  magnitude: boolean,
  float: boolean,
): Scale | null {
  const { figures } = lesson;
  const raw: { digits: number; exponent: number }[] = [];
  const shown = (e: Example) => (magnitude ? Math.abs(e.counts) : e.counts);
  // One example alone refuses most wrong fields, so look at each as soon as it is read.
  for (let i = 0; i < figures.length; i++) {
    const value = read(figures[i]!, i);
    if (value === null || typeof value === 'string') return null;
    const counts = shown(figures[i]!);
    if (
      counts === 0
        ? value.digits !== 0 && Math.abs(value.digits) > 10 ** HIGHEST_HIDDEN
        : !near(value.digits, counts)
    )
      return null;
    raw.push(value);
  }
  for (const rounding of ROUNDINGS) {
    const scale = fit(lesson, raw, shown, rounding, float);
    if (scale) return scale;
  }
  return null;
}

/** Whether some power of ten can bring the digits to the figure at all. */
function near(digits: number, counts: number): boolean {
  if (digits === 0 || digits < 0 !== counts < 0) return false;
  const shift = Math.log10(Math.abs(counts / digits));
  return [Math.floor(shift), Math.ceil(shift)].some((s) => {
    const x = shifted(digits, s);
    return ROUNDINGS.some((r) => r(x, counts));
  });
}

function fit(
  lesson: Lesson,
  raw: readonly { digits: number; exponent: number }[],
  shown: (e: Example) => number,
  rounding: Rounding,
  float: boolean,
): Scale | null {
  const exponents: (number | null)[] = lesson.modes.map(() => null);
  let hidden = 0;
  for (let i = 0; i < raw.length; i++) {
    const e = lesson.figures[i]!;
    const counts = shown(e);
    if (counts === 0 || e.mode < 0) continue;
    const { digits, exponent } = raw[i]!;
    const last = lesson.modes[e.mode]!.lastDigit;
    const known = exponents[e.mode]!;
    const shifts = known !== null ? [exponent + known - last] : shiftsFor(digits, counts);
    const shift = shifts.find((s) => rounding(shifted(digits, s), counts));
    if (shift === undefined || -shift > HIGHEST_HIDDEN) return null;
    if (shift > HIGHEST_COARSER && Number.isInteger(digits)) return null;
    const power = shift + last - exponent;
    if (power < LOWEST_POWER || power > HIGHEST_POWER || (float && power % 3 !== 0)) return null;
    exponents[e.mode] = power;
    hidden = Math.max(hidden, -shift);
  }
  // Zeros can only contradict: a raw number that is too large for the zero shown.
  const known = exponents.filter((x) => x !== null);
  const smallest = Math.min(...known);
  for (let i = 0; i < raw.length; i++) {
    const e = lesson.figures[i]!;
    if (e.counts !== 0 || raw[i]!.digits === 0) continue;
    const exponent = e.mode < 0 ? smallest : exponents[e.mode]!;
    if (exponent === null || !Number.isFinite(exponent)) continue;
    const last = e.mode < 0 ? -e.glance.decimals : lesson.modes[e.mode]!.lastDigit;
    if (!rounding(shifted(raw[i]!.digits, raw[i]!.exponent + exponent - last), 0)) return null;
  }
  return known.length === 0 ? null : { exponents, hidden };
}

function shiftsFor(digits: number, counts: number): number[] {
  const shift = Math.log10(Math.abs(counts / digits));
  return [...new Set([Math.round(shift), Math.floor(shift), Math.ceil(shift)])];
}

function shifted(digits: number, s: number): number {
  return s < 0 ? digits / 10 ** -s : digits * 10 ** s;
}
