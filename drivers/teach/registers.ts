import { overlaps, unmasked } from './bits.ts';
import type { Bits, ByteOrder, ValueField } from './description.ts';
import type { Lesson } from './examples.ts';
import { MARGIN, type Hypothesis } from './hypothesis.ts';
import { bitsOf, decodeValue } from './value.ts';

/** What a register keeps of the figures that came by, in the order of the glances. */
const KINDS = ['largest', 'smallest'] as const;
const MOST_HIDDEN = 2;
/** Half of the octets of any frame are zero (common practice, no source). */
const BITS_OF_ZERO_OCTET = 3;

type IntegerField = Extract<ValueField, { kind: 'integer' }>;

/**
 * Bits of registers that keep the largest or smallest figure so far. They may stand still through a whole teaching
 * and turn later, so they are told by what they hold rather than by whether they change.
 * @param taken octets of the checksum
 */
export function registerBits(lesson: Lesson, h: Hypothesis, taken: ReadonlySet<number>): Bits {
  // Under a mask of its own for each octet, a register that stands still could hold anything.
  if (h.mask && h.mask.some((m) => m !== h.mask![0])) return [];
  const found: { bits: Bits; evidence: number }[] = [];
  const frames = lesson.examples.map((e) => unmasked(e.frame, h.mask));
  const value = bitsOf(h.field);
  for (let hidden = 0; hidden <= MOST_HIDDEN; hidden++) {
    const figures = figuresOf(lesson, h, frames, hidden);
    if (!figures) continue;
    const width = Math.ceil(Math.log2(10 ** (lesson.digits + hidden)));
    for (const field of places(lesson.length)) {
      const own = bitsOf(field);
      if (own.some(({ at }) => taken.has(at)) || overlaps(own, value)) continue;
      const held = frames.map((f) => (decodeValue(field, f) as { digits: number }).digits);
      const evidence = Math.max(...KINDS.map((kind) => evidenceOf(field, held, figures, kind)));
      const cost = Math.log2(lesson.length * 2 * 3 * KINDS.length * (MOST_HIDDEN + 1));
      if (evidence - cost >= MARGIN) found.push({ bits: lowBits(field, width), evidence });
    }
  }
  const chosen: Bits = [];
  for (const { bits } of found.sort((a, b) => b.evidence - a.evidence))
    if (!overlaps(chosen, bits)) chosen.push(...bits);
  return chosen.sort((a, b) => a.at - b.at);
}

function places(length: number): IntegerField[] {
  const out: IntegerField[] = [];
  for (const octets of [4, 3, 2])
    for (let at = 0; at + octets <= length; at++)
      for (const order of ['big', 'little'] satisfies ByteOrder[])
        out.push({ kind: 'integer', at, octets, order, sign: 'twos-complement' });
  return out;
}

/** Each figure as a whole number of the display's last digit or of one finer; null for over-range. */
function figuresOf(
  lesson: Lesson,
  h: Hypothesis,
  frames: readonly Uint8Array[],
  hidden: number,
): (number | null)[] | null {
  const figures = lesson.examples.map((e, i) => {
    if (e.glance.overload) return null;
    if (e.counts === 0 || e.mode < 0) return 0;
    const raw = decodeValue(h.field, frames[i]!);
    const exponent = h.scale.exponents[e.mode] ?? null;
    if (raw === null || typeof raw === 'string' || exponent === null) return NaN;
    const shift = raw.exponent + exponent - lesson.modes[e.mode]!.lastDigit + hidden;
    const x = shift < 0 ? raw.digits / 10 ** -shift : raw.digits * 10 ** shift;
    const whole = Math.round(x);
    // A binary float of 4 octets is exact to some 7 digits.
    if (Math.abs(x - whole) > 1e-3 + 1e-7 * Math.abs(x)) return NaN;
    return h.magnitude && e.counts < 0 ? -whole : whole;
  });
  return figures.some(Number.isNaN) ? null : figures;
}

/** Bits of agreement that chance would have needed; -Infinity where the register holds something else. */
function evidenceOf(
  field: IntegerField,
  held: readonly number[],
  figures: readonly (number | null)[],
  kind: (typeof KINDS)[number],
): number {
  const sign = kind === 'largest' ? 1 : -1;
  const met = new Set<number>();
  let before: number | null = null;
  for (const [i, figure] of figures.entries()) {
    const now = sign * held[i]!;
    if (figure === null) {
      if (before !== null && now < before) return -Infinity;
    } else {
      const fits = before === null ? now >= sign * figure : now === Math.max(before, sign * figure);
      if (!fits) return -Infinity;
      if (held[i] === figure) met.add(figure);
    }
    before = now;
  }
  let evidence = 0;
  for (const figure of met) {
    const bits = Math.log2(1 + Math.abs(figure));
    const rest = evidence === 0 ? field.octets - Math.ceil(bits / 8) : 0;
    if (bits > 0) evidence += bits + rest * BITS_OF_ZERO_OCTET;
  }
  return evidence;
}

/** The octets' low bits that a figure of the display can turn. */
function lowBits({ at, octets, order }: IntegerField, width: number): Bits {
  const out: Bits = [];
  for (let i = 0; i < octets; i++) {
    const bits = Math.min(8, width - 8 * i);
    if (bits > 0) out.push({ at: order === 'big' ? at + octets - 1 - i : at + i, mask: 2 ** bits - 1 });
  }
  return out;
}
