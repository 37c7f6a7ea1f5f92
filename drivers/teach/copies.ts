import type { Bits, MeterDescription } from './description.ts';
import type { Example, Lesson } from './examples.ts';
import type { Hypothesis } from './hypothesis.ts';
import { codeAt, overlaps, union, unmasked } from './bits.ts';
import { bitsOf } from './value.ts';

const MOST_COPIES = 4;

/**
 * Whether two fields are copies of one figure. A maximum, a minimum or an average would have parted from it once
 * figures both fell and rose in one mode.
 */
export function areCopies(lesson: Lesson, a: Hypothesis, b: Hypothesis): boolean {
  if (overlaps(bitsOf(a.field), bitsOf(b.field))) return false;
  let fell = false;
  let rose = false;
  lesson.figures.forEach((later, j) =>
    lesson.figures.slice(0, j).forEach((earlier: Example) => {
      if (earlier.mode < 0 || earlier.mode !== later.mode) return;
      fell ||= later.counts < earlier.counts;
      rose ||= later.counts > earlier.counts;
    }),
  );
  return fell && rose;
}

/**
 * Copies that the description checks the value against: whichever of them the display really shows, a frame in
 * which they part is refused. The widest of those that overlap, since it vouches for most bits.
 */
export function checkedCopies(best: Hypothesis, copies: readonly Hypothesis[]): Hypothesis[] {
  const chosen: Hypothesis[] = [];
  const width = (h: Hypothesis) => bitsOf(h.field).length;
  for (const h of [...copies].sort((a, b) => width(b) - width(a) || a.cost - b.cost)) {
    if (!maskOfBoth(best, h) || chosen.length >= MOST_COPIES) continue;
    if (chosen.every((c) => !overlaps(bitsOf(c.field), bitsOf(h.field)))) chosen.push(h);
  }
  return chosen;
}

/** One mask under which both can be read, or null where they contradict each other; empty for none. */
export function maskOfBoth(a: Hypothesis, b: Hypothesis): Uint8Array | null {
  const length = (a.mask ?? b.mask)?.length ?? 0;
  const out = new Uint8Array(length);
  if (length === 0) return out;
  const own = bitsOf(b.field);
  for (let at = 0; at < length; at++) {
    const bits = own.find((x) => x.at === at)?.mask ?? 0;
    const [first, second] = [a.mask?.[at] ?? 0, b.mask?.[at] ?? 0];
    out[at] = (first & ~bits) | (second & bits);
  }
  // What the first reads must stay as it was.
  return bitsOf(a.field).every(({ at, mask }) => !((out[at]! ^ (a.mask?.[at] ?? 0)) & mask)) ? out : null;
}

/** The same hypothesis under a mask that reads its copies too. */
export function withCopies(best: Hypothesis, copies: readonly Hypothesis[]): Hypothesis {
  return copies.reduce((h, copy) => {
    const mask = maskOfBoth(h, copy);
    return mask !== null && mask.length > 0 ? { ...h, mask } : h;
  }, best);
}

export function bitsOfAll(hypotheses: readonly Hypothesis[]): Bits {
  return hypotheses.reduce<Bits>((bits, { field }) => union(bits, bitsOf(field)), []);
}

/**
 * The copies as a description holds them: for each row of the value's mode codes the copy's own power of ten. Null
 * where one code stands for modes in which the copy has different ones: then it cannot be read.
 */
export function copyRules(
  lesson: Lesson,
  { mask }: Hypothesis,
  copies: readonly Hypothesis[],
  { bits, rows }: MeterDescription['modes'],
): MeterDescription['copies'] | null {
  const modesOf = (is: string) => [
    ...new Set(
      lesson.figures.flatMap((e) =>
        e.mode >= 0 && codeAt(unmasked(e.frame, mask), bits) === is ? [e.mode] : [],
      ),
    ),
  ];
  const out: MeterDescription['copies'] = [];
  for (const { field, scale } of copies) {
    const exponents = rows.map(({ is }) => new Set(modesOf(is).map((mode) => scale.exponents[mode] ?? null)));
    if (exponents.some((e) => e.size > 1)) return null;
    out.push({ value: field, exponents: exponents.map(([e]) => e ?? null) });
  }
  return out;
}
