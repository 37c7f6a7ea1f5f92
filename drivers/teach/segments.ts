import type { Lesson } from './examples.ts';
import type { ValueField } from './description.ts';
import { nibbleAt } from './bits.ts';
import type { Hypothesis } from './hypothesis.ts';

/**
 * Seven-segment digits whose segments stand on the bits of an octet in an unknown order, perhaps under an
 * unknown mask. Every bit of a digit's octet must follow one segment through all glances, upright or (under a
 * mask) inverted; what is left over is a matching of seven segments to eight bits.
 */

// Segments a (top), b, c (right), d (bottom), e, f (left), g (middle) as bits 0 to 6.
const A = 1;
const D = 8;
const F = 32;
const GLYPHS = [0x3f, 0x06, 0x5b, 0x4f, 0x66, 0x6d, 0x7d, 0x07, 0x7f, 0x6f];
const BLANK = 10; // index of the dark digit
const ALL_BITS = 8;
const MOST_MATCHINGS = 256;

/** The digits 6, 7 and 9 are drawn with and without a tail. */
const ALPHABETS: readonly (readonly number[])[] = [0, 1, 2, 3, 4, 5, 6, 7].map((variant) => {
  const glyphs = [...GLYPHS, 0];
  if (variant & 1) glyphs[6] = glyphs[6]! & ~A;
  if (variant & 2) glyphs[7] = glyphs[7]! | F;
  if (variant & 4) glyphs[9] = glyphs[9]! & ~D;
  return glyphs;
});

type Cells = [number, number][];

/** Where the digits may stand: in octets, across two octets, or in one half of each octet; in either direction. */
function layouts(length: number, count: number): Cells[] {
  const out: Cells[] = [];
  const add = (first: number, second: number, step: number) => {
    const cells: Cells = Array.from({ length: count }, (_, j) => [first + j * step, second + j * step]);
    if (cells.every(([a, b]) => a < 2 * length && b < 2 * length)) out.push(cells, [...cells].reverse());
  };
  for (let i = 0; i < length; i++) {
    add(2 * i, 2 * i + 1, 2); // one octet
    add(2 * i + 1, 2 * i + 2, 2); // low half, then the next octet's high half
    add(2 * i, 2 * i + 3, 2); // high half, then the next octet's low half
    add(2 * i + 1, 2 * i + 3, 4); // low halves
    add(2 * i, 2 * i + 2, 4); // high halves
  }
  return out;
}

/** Bits, over all alphabets and matchings, that name one layout. */
const COST = 20;
/** Octets differ from each other by about so many bits of surprise for each new digit. */
const BITS_A_DIGIT = 5;

/** @param masked look for digits under an unknown mask rather than plain ones */
export function segmentHypotheses(lesson: Lesson, masked: boolean): Hypothesis[] {
  const { figures, length } = lesson;
  if (new Set(figures.map((e) => e.counts)).size < 2) return [];
  const typed = Math.max(...figures.map((e) => Math.max(1, String(Math.abs(e.counts)).length)));
  const out: Hypothesis[] = [];
  for (let count = Math.max(2, typed); count <= Math.min(8, lesson.digits + 2); count++) {
    const shown = figures.map((e) => digitsOf(Math.abs(e.counts), count, count));
    const dark = figures.map((e) => digitsOf(Math.abs(e.counts), count, e.glance.digits));
    const paddings = [shown, dark];
    for (const cells of layouts(length, count)) {
      for (const digits of paddings) {
        const found = solve(lesson, cells, digits, masked);
        out.push(...found);
        if (found.length > 0) break;
      }
    }
  }
  return out;
}

/** Digits of the figure, most significant first, filled up with zeros, or with dark digits beyond those shown. */
function digitsOf(counts: number, count: number, lit: number): number[] {
  const digits = [...String(counts).padStart(count, '0')].map(Number);
  return digits.map((d, i) => (i < count - lit ? BLANK : d));
}

function solve(lesson: Lesson, cells: Cells, digits: readonly number[][], masked: boolean): Hypothesis[] {
  const { figures } = lesson;
  const full = 2 ** figures.length - 1;
  // Column of a bit: its value in each glance, as the bits of one number.
  const columns = cells.map(([high, low]) =>
    Array.from({ length: ALL_BITS }, (_, bit) => {
      let column = 0;
      figures.forEach((e, i) => {
        const code = (nibbleAt(e.frame, high) << 4) | nibbleAt(e.frame, low);
        if (code & (1 << bit)) column |= 1 << i;
      });
      return column;
    }),
  );
  const solutions: Solution[] = [];
  for (const alphabet of ALPHABETS) {
    const wanted = cells.map((_, j) =>
      Array.from({ length: 7 }, (__, segment) => {
        let column = 0;
        digits.forEach((d, i) => {
          if (alphabet[d[j]!]! & (1 << segment)) column |= 1 << i;
        });
        return column;
      }),
    );
    const fits: number[] = [];
    for (let segment = 0; segment < 7; segment++) {
      let bits = 0;
      for (let bit = 0; bit < ALL_BITS; bit++) {
        const agrees = cells.every((_, j) => {
          const difference = columns[j]![bit]! ^ wanted[j]![segment]!;
          return difference === 0 || (masked && difference === full);
        });
        if (agrees) bits |= 1 << bit;
      }
      if (bits === 0) break;
      fits.push(bits);
    }
    if (fits.length < 7) continue;
    for (const bitOf of matchings(fits)) {
      solutions.push({ codes: alphabet.map((glyph) => place(glyph, bitOf)), lit: place(0x7f, bitOf) });
      if (solutions.length > MOST_MATCHINGS) return [];
    }
  }
  // One bit too many may fit a segment: each choice of seven bits is a hypothesis of its own.
  return [...new Set(solutions.map((s) => s.lit))].flatMap((lit) => {
    const found = agree(
      lesson,
      cells,
      digits,
      solutions.filter((s) => s.lit === lit),
      masked,
    );
    return found ? [found] : [];
  });
}

interface Solution {
  /** Code of each digit, and of the dark one. */
  readonly codes: readonly number[];
  readonly lit: number;
}

function place(glyph: number, bitOf: readonly number[]): number {
  let code = 0;
  for (let segment = 0; segment < 7; segment++) if (glyph & (1 << segment)) code |= 1 << bitOf[segment]!;
  return code;
}

/** All ways to give each segment a bit of its own. */
function matchings(fits: readonly number[]): number[][] {
  const out: number[][] = [];
  const chosen: number[] = [];
  const search = (used: number): void => {
    if (out.length > MOST_MATCHINGS) return;
    if (chosen.length === fits.length) {
      out.push([...chosen]);
      return;
    }
    for (let bit = 0; bit < ALL_BITS; bit++) {
      const one = 1 << bit;
      if (!(fits[chosen.length]! & one) || used & one) continue;
      chosen.push(bit);
      search(used | one);
      chosen.pop();
    }
  };
  search(0);
  return out;
}

/**
 * Unites the solutions. A digit that they draw differently was not seen so far: it keeps all its codes but those
 * that another digit may have.
 */
function agree(
  lesson: Lesson,
  cells: Cells,
  digits: readonly number[][],
  solutions: readonly Solution[],
  masked: boolean,
): Hypothesis | null {
  const lit = solutions[0]!.lit;
  const all = solutions[0]!.codes.map((_, d) => [...new Set(solutions.map((s) => s.codes[d]!))]);
  const codes = all.map((own, d) =>
    own.filter((c) => all.every((others, e) => e === d || !others.includes(c))),
  );
  const common = all.map((own) => (own.length === 1 ? own[0]! : null));
  const mask = masked ? maskFor(lesson, cells, digits, solutions[0]!, common) : null;
  if (masked && (!mask || mask.every((m) => m === 0))) return null;
  const field: ValueField = {
    kind: 'segments',
    digits: cells,
    lit,
    codes: codes.slice(0, 10),
    blank: common[BLANK]!,
  };
  let pairs = 0;
  for (let j = 0; j < cells.length; j++) {
    pairs += new Set(digits.map((d) => d[j]!)).size - (masked ? 1 : 0);
  }
  return {
    field,
    mask,
    scale: { exponents: lesson.modes.map((m, i) => (hasFigure(lesson, i) ? m.lastDigit : null)), hidden: 0 },
    magnitude: lesson.figures.some((e) => e.counts < 0),
    cost: COST + Math.log2(solutions.length),
    evidence: BITS_A_DIGIT * pairs,
  };
}

/** Segments show the display's own digits, so even a zero tells the scale. */
function hasFigure(lesson: Lesson, mode: number): boolean {
  return lesson.figures.some((e) => e.mode === mode);
}

function maskFor(
  lesson: Lesson,
  cells: Cells,
  digits: readonly number[][],
  solution: Solution,
  common: readonly (number | null)[],
): Uint8Array | null {
  const mask = new Uint8Array(lesson.length);
  for (let j = 0; j < cells.length; j++) {
    const [high, low] = cells[j]!;
    const i = digits.findIndex((d) => common[d[j]!] !== null);
    if (i < 0) return null;
    const { frame } = lesson.figures[i]!;
    const code = (nibbleAt(frame, high) << 4) | nibbleAt(frame, low);
    const difference = (code ^ solution.codes[digits[i]![j]!]!) & solution.lit;
    setNibble(mask, high, difference >> 4);
    setNibble(mask, low, difference & 15);
  }
  return mask;
}

function setNibble(bytes: Uint8Array, address: number, nibble: number): void {
  bytes[address >> 1]! |= address % 2 === 0 ? nibble << 4 : nibble;
}
