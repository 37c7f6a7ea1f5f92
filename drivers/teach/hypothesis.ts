import type { Example, Lesson } from './examples.ts';
import type { ValueField } from './description.ts';
import { unmasked } from './bits.ts';
import { findScale, type Scale } from './scale.ts';
import { bitsOf, decodeValue, isSigned, type RawValue } from './value.ts';

/** One way to read the figure that explains every glance. */
export interface Hypothesis {
  readonly field: ValueField;
  /** As long as the frame; null for none. */
  readonly mask: Uint8Array | null;
  readonly scale: Scale;
  /** The number has no sign of its own although negative figures were shown. */
  readonly magnitude: boolean;
  /** Length of its description, bits: what had to be chosen among alternatives. */
  readonly cost: number;
  /** What the glances confirm, bits: the agreement that a wrong field would have needed by chance. */
  readonly evidence: number;
}

/** Evidence must beat the cost by so many bits: a wrong field passes once in a thousand lessons. */
export const MARGIN = 10;

export function isSure(h: Hypothesis): boolean {
  return h.evidence - h.cost >= MARGIN;
}

/** @returns null where the field does not explain every glance */
export function tryField(
  lesson: Lesson,
  field: ValueField,
  mask: Uint8Array | null,
  cost: number,
  masked: readonly Uint8Array[] = lesson.figures.map((e) => unmasked(e.frame, mask)),
): Hypothesis | null {
  const read = (_: unknown, i: number): RawValue => decodeValue(field, masked[i]!);
  const negatives = lesson.figures.some((e) => e.counts < 0);
  const own = isSigned(field);
  const float = field.kind === 'sfloat' || field.kind === 'float' || field.kind === 'float32';
  let scale = negatives && !own ? null : findScale(lesson, read, false, float);
  let magnitude = false;
  // A text field need not hold the sign.
  if (!scale && negatives && (!own || field.kind === 'text')) {
    scale = findScale(lesson, read, true, float);
    magnitude = scale !== null;
    if (magnitude && field.kind === 'text' && masked.some((f) => readsNegative(field, f))) return null;
  }
  if (!scale) return null;
  if (scale.hidden > 0 && !float && hasStillDigits(lesson, read, scale)) return null;
  const evidence = evidenceOf(lesson, field, masked, scale.hidden, mask !== null);
  return { field, mask, scale, magnitude, cost, evidence };
}

/** So many repeats within modes tell digits from an octet that only stands beside them. */
const REPEATS_FOR_DIGITS = 3;

/**
 * Whether the digits beyond the display's follow the mode and never the figure: then they are none. Zeros may be:
 * a meter that sends fine units and measures coarse ones.
 */
function hasStillDigits(lesson: Lesson, read: (e: Example, i: number) => RawValue, scale: Scale): boolean {
  const seen = new Map<number, Set<number>>();
  let figures = 0;
  lesson.figures.forEach((e, i) => {
    const raw = read(e, i);
    const exponent = e.mode < 0 ? null : scale.exponents[e.mode]!;
    if (raw === null || typeof raw === 'string' || exponent === null || e.counts === 0) return;
    const hidden = lesson.modes[e.mode]!.lastDigit - exponent - raw.exponent;
    const rest = hidden > 0 ? Math.abs(raw.digits) % 10 ** hidden : 0;
    seen.set(e.mode, (seen.get(e.mode) ?? new Set()).add(rest));
    figures++;
  });
  const rests = [...seen.values()];
  const still = rests.every((r) => r.size === 1) && rests.some((r) => !r.has(0));
  return still && figures - rests.length >= REPEATS_FOR_DIGITS;
}

function readsNegative(field: ValueField, frame: Uint8Array): boolean {
  const value = decodeValue(field, frame);
  return value !== null && typeof value !== 'string' && value.digits < 0;
}

/**
 * Each further, different figure confirms the bits of the field that vary, less the digits that the display
 * hides. An unknown mask eats the first figure.
 */
function evidenceOf(
  lesson: Lesson,
  field: ValueField,
  frames: readonly Uint8Array[],
  hidden: number,
  hasMask: boolean,
): number {
  const distinct = new Set(lesson.figures.map((e) => `${e.mode}:${e.counts}`)).size;
  let varying = 0;
  for (const { at, mask } of bitsOf(field)) {
    let changed = 0;
    for (const f of frames) changed |= (f[at]! ^ frames[0]![at]!) & mask;
    varying += popCount(changed);
  }
  // More bits vary in digits as text or segments than the figures have information.
  const largest = Math.max(...lesson.figures.map((e) => Math.abs(e.counts)));
  const information = Math.log2(1 + largest);
  const each = Math.max(0, Math.min(varying - hidden * Math.log2(10), information + 1));
  return each * (distinct - 1) + (hasMask ? 0 : information);
}

/** Whether the field carries exactly the figures shown, and nothing beyond. */
export function isExact(lesson: Lesson, h: Hypothesis): boolean {
  return lesson.figures.every((e) => {
    const raw = decodeValue(h.field, unmasked(e.frame, h.mask));
    if (raw === null || typeof raw === 'string') return false;
    const exponent = e.mode < 0 ? null : h.scale.exponents[e.mode]!;
    if (exponent === null) return raw.digits === 0;
    const x = raw.digits * 10 ** (raw.exponent + exponent - lesson.modes[e.mode]!.lastDigit);
    const counts = h.magnitude ? Math.abs(e.counts) : e.counts;
    return Math.abs(x - counts) <= 2e-6 * Math.abs(counts);
  });
}

export function popCount(octet: number): number {
  let n = 0;
  for (let x = octet; x; x &= x - 1) n++;
  return n;
}

/** Figures per field, for its cost: the field must be able to show what the display can. */
export function holds(h: Hypothesis, lesson: Lesson): boolean {
  const { field } = h;
  const most =
    field.kind === 'integer'
      ? 2 ** (8 * field.octets - (field.sign === 'unsigned' ? 0 : 1)) - 1
      : field.kind === 'bcd'
        ? 10 ** field.digits.length - 1
        : Infinity;
  return h.scale.exponents.every((exponent, i) => {
    if (exponent === null) return true;
    return most * 10 ** (exponent - lesson.modes[i]!.lastDigit) >= 10 ** (lesson.digits - 1);
  });
}
