import { bytesOf, codeAt, hexOf, union, unmasked, without } from './bits.ts';
import type { Bits } from './description.ts';
import type { Lesson } from './examples.ts';
import type { Hypothesis } from './hypothesis.ts';
import { crossed, generator } from './probe.ts';
import { bitsOf, decodeValue } from './value.ts';

const PROBES = 240;

export interface Reader {
  readonly h: Hypothesis;
  readonly modeBits: Bits;
}

/** The figure that a hypothesis reads from a frame in a mode, in the unit without prefix; null for none. */
function figureOf(h: Hypothesis, frame: Uint8Array, mode: number): number | null {
  const raw = decodeValue(h.field, unmasked(frame, h.mask));
  const exponent = h.scale.exponents[mode] ?? null;
  if (raw === null || typeof raw === 'string' || exponent === null) return null;
  const shift = raw.exponent + exponent;
  return shift < 0 ? raw.digits / 10 ** -shift : raw.digits * 10 ** shift;
}

function differ(a: number, b: number, lastDigit: number): boolean {
  return Math.abs(a - b) > 1e-6 * 10 ** lastDigit + 1e-6 * Math.abs(a);
}

/**
 * A figure, within what was shown in some mode, on which the two disagree; null when they agree on every frame
 * tried: their bits that vary, mixed as the meter might send them.
 */
export function disagreement(
  lesson: Lesson,
  { h: a, modeBits: aBits }: Reader,
  { h: b, modeBits: bBits }: Reader,
): { readonly value: number; readonly mode: number } | null {
  const random = generator(11);
  // Bits by which either tells the mode stay as they are: turned alone, they make a frame that no meter sends.
  const both = without(union(bitsOf(a.field), bitsOf(b.field)), union(aBits, bBits));
  for (let mode = 0; mode < lesson.modes.length; mode++) {
    const group = lesson.figures.filter((e) => e.mode === mode);
    const { lastDigit } = lesson.modes[mode]!;
    const shown = group.map(
      (e) => (a.magnitude || b.magnitude ? Math.abs(e.counts) : e.counts) * 10 ** lastDigit,
    );
    const low = Math.min(...shown) - 10 ** lastDigit;
    const high = Math.max(...shown) + 10 ** lastDigit;
    const inUse = (x: number | null): x is number => x !== null && x >= low && x <= high;
    // Bits vary over all modes, not only within this one.
    const pool = [...group, ...lesson.figures].map((e) => e.frame);
    for (let i = 0; i < PROBES; i++) {
      const frame = crossed(group[i % group.length]!.frame, pool, both, random);
      let x = figureOf(a, frame, mode);
      let y = figureOf(b, frame, mode);
      if (a.magnitude !== b.magnitude) {
        x = x === null ? null : Math.abs(x);
        y = y === null ? null : Math.abs(y);
      }
      if (inUse(x) && inUse(y) && differ(x, y, lastDigit)) return { value: x, mode };
    }
  }
  return null;
}

/**
 * Whether `wide` only adds digits that the display does not show to what `narrow` reads. "cut": the display cuts
 * them off, so `narrow` reads just what is shown. "open": the glances do not tell cutting from rounding yet.
 * @param still bits that the description holds to what was shown: digits there never come to be rounded up
 */
export function refines(
  lesson: Lesson,
  narrow: Hypothesis,
  wide: Hypothesis,
  still: Bits,
): 'no' | 'open' | 'cut' {
  if (wide.scale.hidden <= narrow.scale.hidden) return 'no';
  const rests = new Set<number>();
  const inModes = new Set<string>();
  let figures = 0;
  let seen = false;
  for (const { frame, mode } of lesson.figures) {
    if (mode < 0) continue;
    const x = figureOf(narrow, frame, mode);
    const y = figureOf(wide, frame, mode);
    if (x === null || y === null) continue;
    const digit =
      10 ** (narrow.scale.exponents[mode]! + (narrow.field.kind === 'text' ? ownExponent(narrow, frame) : 0));
    const rest = (Math.abs(y) - Math.abs(x)) / digit;
    if (rest < -1e-6 || rest > 1 - 1e-6) return 'no';
    if (x === 0) continue;
    figures++;
    rests.add(Math.round(rest * 1e6));
    inModes.add(`${mode} ${Math.round(rest * 1e6)}`);
    seen ||= rest >= 0.5 - 1e-6;
  }
  // Digits that hardly change whatever the figure, or follow the mode, are none.
  const modes = new Set(lesson.figures.filter((e) => e.counts !== 0).map((e) => e.mode)).size;
  const idle = (inModes.size === modes && figures - modes >= 3) || (rests.size === 2 && figures >= 6);
  const held = without(without(bitsOf(wide.field), bitsOf(narrow.field)), still).length === 0;
  return seen || idle || held ? 'cut' : 'open';
}

function ownExponent(h: Hypothesis, frame: Uint8Array): number {
  const raw = decodeValue(h.field, unmasked(frame, h.mask));
  return raw === null || typeof raw === 'string' ? 0 : raw.exponent;
}

/**
 * Bits of the field that never varied and that some rival reads otherwise: the description keeps to frames in
 * which they stay as they were.
 */
export function unproven(lesson: Lesson, best: Hypothesis, rivals: readonly Hypothesis[]): Bits {
  const out: Bits = [];
  const frames = lesson.figures.map((e) => e.frame);
  for (const { at, mask } of bitsOf(best.field)) {
    let varying = 0;
    for (const f of frames) varying |= f[at]! ^ frames[0]![at]!;
    let kept = 0;
    for (let bit = 1; bit < 256; bit <<= 1) {
      if (!(mask & bit) || varying & bit) continue;
      if (rivals.some((r) => turnedApart(lesson, best, r, at, bit))) kept |= bit;
    }
    if (kept) out.push({ at, mask: kept });
  }
  return out;
}

function turnedApart(lesson: Lesson, best: Hypothesis, rival: Hypothesis, at: number, bit: number): boolean {
  return lesson.figures.some(({ frame, mode }) => {
    if (mode < 0) return false;
    const turned = Uint8Array.from(frame);
    turned[at]! ^= bit;
    const x = figureOf(best, turned, mode);
    const { lastDigit } = lesson.modes[mode]!;
    // Beyond the display's digits the description refuses the figure anyway.
    if (x === null || Math.abs(x) >= 10 ** (lesson.digits + lastDigit)) return false;
    const y = figureOf(rival, turned, mode);
    return y !== null && differ(Math.abs(x), Math.abs(y), lastDigit);
  });
}

/** Adds bits with their octets as they stand in `frame` to those that must not change. */
export function withFixed(
  fixed: { readonly bits: Bits; readonly is: string },
  more: Bits,
  frame: Uint8Array,
): { bits: Bits; is: string } {
  const old = bytesOf(fixed.is);
  const extra = bytesOf(codeAt(frame, more));
  const octets = new Map<number, { mask: number; is: number }>();
  fixed.bits.forEach(({ at, mask }, i) => octets.set(at, { mask, is: old[i]! }));
  more.forEach(({ at, mask }, i) => {
    const o = octets.get(at) ?? { mask: 0, is: 0 };
    octets.set(at, { mask: o.mask | mask, is: (o.is & ~mask) | extra[i]! });
  });
  const sorted = [...octets].sort(([a], [b]) => a - b);
  return {
    bits: sorted.map(([at, { mask }]) => ({ at, mask })),
    is: hexOf(sorted.map(([, { is }]) => is)),
  };
}
