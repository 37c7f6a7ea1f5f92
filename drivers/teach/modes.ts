import { FLAG } from '../core/reading.ts';
import { codeAt, overlaps, union, unmasked } from './bits.ts';
import type { Bits, MeterDescription } from './description.ts';
import { unitText } from './display.ts';
import type { Example, Lesson, ShownMode } from './examples.ts';
import { popCount, type Hypothesis } from './hypothesis.ts';
import { bitsOf, decodeValue, isEndCode } from './value.ts';

/** All that a description says beside the value, mask and checksum. */
export type Surroundings = Pick<MeterDescription, 'fixed' | 'modes' | 'sign' | 'flags' | 'overload'>;

/** Something that the glances leave open, and the glance that would settle it. */
export interface Doubt {
  readonly sentence: string;
  readonly next: string;
}

export type Analysis =
  | {
      readonly ok: true;
      readonly around: Surroundings;
      readonly doubts: readonly Doubt[];
      /** Octets that change by themselves. */
      readonly unruly: readonly number[];
    }
  | { readonly ok: false; readonly sentence: string };

const FLAG_WORDS = { hold: 'HOLD', relative: 'REL', minMax: 'MAX or MIN' } as const;
/** So many glances must repeat a state of the display before a changing octet is told from a mode code. */
const FEWEST_REPEATS = 2;
/** An octet in which more bits than these change by themselves is a counter or the like, not a row of flags. */
const MOST_RESTLESS = 2;
const FEWEST_TO_COUNT = 5;
/** A bit among changing ones is believed only after so many repeats. */
const REPEATS_FOR_STRAY = 5;

/**
 * Explains the bits around the value by what the display showed: each must follow the mode (unit and point), the
 * sign, a flag or over-range; octets that change while the display shows the same are left alone.
 * @param taken octets of the checksum
 * @param explained bits whose meaning is known already: copies of the value, registers
 */
export function analyse(
  lesson: Lesson,
  h: Hypothesis,
  taken: ReadonlySet<number>,
  explained: Bits = [],
): Analysis {
  const view = look(lesson, h, taken, explained);
  const doubts: Doubt[] = [];
  const modeBits = separating(lesson, h, view, doubts);
  if (!modeBits) {
    return { ok: false, sentence: `Nothing in the frame tells ${modesText(lesson.modes)} from each other.` };
  }
  const sign = signBits(lesson, h, view, modeBits, doubts);
  if (sign === 'missing') return { ok: false, sentence: 'Nothing in the frame shows the minus sign.' };
  const flags = flagBits(lesson, view, modeBits, doubts);
  const overload = overloadRules(lesson, h, view, modeBits, doubts);
  const rows = modeRows(lesson, h, view, modeBits, doubts);
  const changing = view.clean.length + view.stray.length > 0;
  if (changing && view.repeats < FEWEST_REPEATS) {
    const mode = lesson.modes[0]!;
    doubts.push({
      sentence: 'Too few glances show the same unit and point to tell mode codes from counters.',
      next: `another, different figure in ${unitText(mode.unit)} with ${mode.decimals} decimals`,
    });
  }
  const fixed = view.constant;
  const is = codeAt(view.frames[0]!, fixed);
  return {
    ok: true,
    around: { fixed: { bits: fixed, is }, modes: { bits: modeBits, rows }, sign, flags, overload },
    doubts,
    unruly: view.unruly,
  };
}

/** One bit of the frame through all figures. */
interface Bit {
  readonly at: number;
  readonly mask: number;
}

interface View {
  /** Unmasked frames of the figures. */
  readonly frames: readonly Uint8Array[];
  readonly overloads: readonly Uint8Array[];
  /** Bits that vary, but hold still while the display does. */
  readonly clean: readonly Bit[];
  /** The same, but in octets that change by themselves. */
  readonly stray: readonly Bit[];
  /** Bits that never varied, outside octets that change by themselves. */
  readonly constant: Bits;
  readonly unruly: readonly number[];
  readonly repeats: number;
}

function look(lesson: Lesson, h: Hypothesis, taken: ReadonlySet<number>, explained: Bits): View {
  const frames = lesson.figures.map((e) => unmasked(e.frame, h.mask));
  const value = new Map(union(bitsOf(h.field), explained).map(({ at, mask }) => [at, mask]));
  const states = new Map<string, number[]>();
  lesson.figures.forEach((e, i) => {
    const state = e.mode < 0 ? `alone ${i}` : `${e.mode} ${e.glance.flags} ${e.glance.negative}`;
    states.set(state, [...(states.get(state) ?? []), i]);
  });
  const octets = Array.from({ length: lesson.length }, (_, at) => {
    const free = taken.has(at) ? 0 : 0xff & ~(value.get(at) ?? 0);
    let varying = 0;
    for (const f of frames) varying |= (f[at]! ^ frames[0]![at]!) & free;
    let restless = 0;
    for (const group of states.values()) {
      for (const i of group) restless |= (frames[i]![at]! ^ frames[group[0]!]![at]!) & free;
    }
    return { at, free, varying, restless };
  });
  const isUnruly = (at: number) => popCount(octets[at]?.restless ?? 0) > MOST_RESTLESS;
  const clean: Bit[] = [];
  const stray: Bit[] = [];
  const constant: Bits = [];
  const unrulyOctets: number[] = [];
  for (const octet of octets) {
    const { at, free, varying, restless } = octet;
    const lower = [at - 1, at + 1].filter(isUnruly);
    const unruly = isUnruly(at) || lower.some((low) => carries(frames, at, low, isUnruly));
    if (unruly) unrulyOctets.push(at);
    for (let mask = 1; mask < 256; mask <<= 1) {
      if (varying & ~restless & mask) (unruly ? stray : clean).push({ at, mask });
    }
    if (!unruly && free & ~varying) constant.push({ at, mask: free & ~varying });
  }
  return {
    frames,
    overloads: lesson.overloads.map((e) => unmasked(e.frame, h.mask)),
    clean,
    stray,
    constant,
    unruly: unrulyOctets,
    repeats: lesson.figures.length - states.size,
  };
}

/**
 * Whether the octet is the next digit of a counter that `lower` belongs to: while it stays the lower ones rise, when
 * it rises by one they start again.
 */
function carries(
  frames: readonly Uint8Array[],
  high: number,
  lower: number,
  isUnruly: (at: number) => boolean,
): boolean {
  const lowest = 2 * lower - high; // the octet beyond, which may count faster still
  const rest = (f: Uint8Array) => 256 * f[lower]! + (isUnruly(lowest) ? f[lowest]! : 0);
  let carried = false;
  for (let i = 1; i < frames.length; i++) {
    const [before, after] = [frames[i - 1]!, frames[i]!];
    const step = after[high]! - before[high]!;
    if (step < 0) return false;
    if (step === 0 && rest(after) <= rest(before)) return false;
    if (step === 1 && rest(after) >= rest(before)) return false;
    carried ||= step > 0;
  }
  return carried && frames.length >= FEWEST_TO_COUNT;
}

/** Whether the bit is a function of the label (null: this example does not count) and not always the same. */
function follows(bit: Bit, frames: readonly Uint8Array[], labels: readonly (string | null)[]): boolean {
  const seen = new Map<string, number>();
  for (let i = 0; i < frames.length; i++) {
    const label = labels[i]!;
    if (label === null) continue;
    const value = frames[i]![bit.at]! & bit.mask;
    const before = seen.get(label);
    if (before !== undefined && before !== value) return false;
    seen.set(label, value);
  }
  return new Set(seen.values()).size > 1;
}

/** Single bits gathered into one mask an octet, in frame order. */
function gather(bits: readonly Bit[]): Bits {
  const masks = new Map<number, number>();
  for (const { at, mask } of bits) masks.set(at, (masks.get(at) ?? 0) | mask);
  return [...masks].map(([at, mask]) => ({ at, mask })).sort((a, b) => a.at - b.at);
}

/** The bits that follow the mode, if they tell apart all modes that are read differently. */
function separating(lesson: Lesson, h: Hypothesis, view: View, doubts: Doubt[]): Bits | null {
  const labels = lesson.figures.map((e) => (e.mode < 0 ? null : String(e.mode)));
  const meaning = (mode: number) => {
    const { unit, ac } = lesson.modes[mode]!;
    const exponent = h.scale.exponents[mode];
    return unit.quantity === null ? 'other' : `${unit.quantity} ${exponent} ${ac}`;
  };
  const separates = (bits: Bits) => {
    const codes = new Map<string, string>();
    return lesson.figures.every((e, i) => {
      if (e.mode < 0 || h.scale.exponents[e.mode] === null) return true;
      const code = codeAt(view.frames[i]!, bits);
      const before = codes.get(code);
      codes.set(code, meaning(e.mode));
      return before === undefined || before === meaning(e.mode);
    });
  };
  const own = gather(view.clean.filter((b) => follows(b, view.frames, labels)));
  if (separates(own)) return own;
  const all = gather([...view.clean, ...view.stray].filter((b) => follows(b, view.frames, labels)));
  if (!separates(all)) return null;
  if (view.repeats < REPEATS_FOR_STRAY) doubts.push(strayDoubt(lesson, 'The mode code'));
  return all;
}

function strayDoubt(lesson: Lesson, what: string): Doubt {
  const mode = lesson.modes.at(-1)!;
  return {
    sentence: `${what} stands among bits that change by themselves.`,
    next: `one more figure in ${unitText(mode.unit)} with ${mode.decimals} decimals`,
  };
}

function signBits(
  lesson: Lesson,
  h: Hypothesis,
  view: View,
  modeBits: Bits,
  doubts: Doubt[],
): MeterDescription['sign'] | 'missing' {
  // Text that writes its minus itself is not turned by anything else.
  if (h.field.kind === 'text' && !h.magnitude) return null;
  const minus = lesson.figures.findIndex((e) => e.counts < 0);
  const plus = lesson.figures.findIndex((e) => e.counts > 0);
  if (minus < 0) return null;
  if (plus < 0) {
    if (!h.magnitude) return null;
    doubts.push({ sentence: 'Every figure shown was negative.', next: 'a positive figure' });
    return null;
  }
  const labels = lesson.figures.map((e) => (e.counts === 0 ? null : e.counts < 0 ? '-' : '+'));
  let bits = gather(view.clean.filter((b) => follows(b, view.frames, labels)));
  const confounded = overlaps(bits, modeBits);
  if (!h.magnitude && (bits.length === 0 || confounded)) return null;
  if (bits.length === 0) {
    bits = gather(view.stray.filter((b) => follows(b, view.frames, labels)));
    if (bits.length === 0) return 'missing';
    if (view.repeats < REPEATS_FOR_STRAY) doubts.push(strayDoubt(lesson, 'The sign'));
  }
  if (confounded) {
    const negative = lesson.figures[minus]!;
    const unit = lesson.modes[negative.mode]!.unit;
    doubts.push({
      sentence: 'The minus sign came only together with a change of unit or point.',
      next: `a positive and a negative figure, both in ${unitText(unit)} with the same decimals`,
    });
  }
  return { bits, plus: codeAt(view.frames[plus]!, bits), minus: codeAt(view.frames[minus]!, bits) };
}

function flagBits(lesson: Lesson, view: View, modeBits: Bits, doubts: Doubt[]): MeterDescription['flags'] {
  const out: MeterDescription['flags'] = [];
  for (const flag of ['hold', 'relative', 'minMax'] as const) {
    const word = FLAG_WORDS[flag];
    const has = (e: Example) => (e.glance.flags & FLAG[flag]) !== 0;
    const on = lesson.figures.findIndex(has);
    if (on < 0) continue;
    const off = lesson.figures.findIndex((e) => !has(e));
    const labels = lesson.figures.map((e) => String(has(e)));
    let bits = gather(view.clean.filter((b) => follows(b, view.frames, labels)));
    if (bits.length === 0) bits = gather(view.stray.filter((b) => follows(b, view.frames, labels)));
    else if (overlaps(bits, modeBits)) {
      const unit = unitText(lesson.modes[Math.max(0, lesson.figures[on]!.mode)]!.unit);
      doubts.push({
        sentence: `${word} came only together with a change of unit or point.`,
        next: `a figure in ${unit} with the same decimals, without ${word}`,
      });
    }
    if (off < 0 || bits.length === 0) {
      doubts.push({
        sentence: `Nothing in the frame shows ${word}, so a held figure would pass for a live one.`,
        next: off < 0 ? `a figure without ${word}` : `another figure with ${word}`,
      });
      continue;
    }
    out.push({ flag, bits, off: codeAt(view.frames[off]!, bits), on: codeAt(view.frames[on]!, bits) });
  }
  return out;
}

function overloadRules(
  lesson: Lesson,
  h: Hypothesis,
  view: View,
  modeBits: Bits,
  doubts: Doubt[],
): MeterDescription['overload'] {
  if (view.overloads.length === 0) return [];
  // Bits that never varied over the figures and are the other way in every over-range.
  const flagged = view.constant.flatMap(({ at, mask }) => {
    let changed = mask;
    for (const f of view.overloads) changed &= f[at]! ^ view.frames[0]![at]!;
    return changed === 0 ? [] : [{ at, mask: changed }];
  });
  const value = bitsOf(h.field);
  const codes = new Set(view.overloads.map((f) => codeAt(f, value)));
  const isCode = view.frames.every((f) => !codes.has(codeAt(f, value)));
  // Without a bit that says so, the value must be one that no figure can have.
  const impossible = view.overloads.every((f, i) => !isFigure(lesson, h, f, lesson.overloads[i]!));
  const useValue = isCode && (flagged.length === 0 ? impossible : codes.size === 1);
  if (!useValue && flagged.length === 0) {
    doubts.push({
      sentence: 'Nothing in the frame shows over-range, so it would pass for a figure.',
      next: 'over-range once more, and a figure right before it',
    });
    return [];
  }
  // Sign and flag bits must stand as they did: what they would mean beside over-range was not shown.
  const beside = view.clean.filter((b) => !overlaps([b], modeBits));
  const merged = gather([...flagged, ...(useValue ? value : []), ...beside]);
  const only = new Set(lesson.modes.map((m) => m.unit.quantity));
  const rules = lesson.overloads.map((e, i) => ({
    bits: merged,
    is: codeAt(view.overloads[i]!, merged),
    mode: codeAt(view.overloads[i]!, modeBits),
    quantity: e.glance.unit
      ? e.glance.unit.quantity
      : only.size === 1
        ? lesson.modes[0]!.unit.quantity
        : null,
  }));
  return [...new Map(rules.map((r) => [`${r.is} ${r.mode}`, r])).values()];
}

/** Whether the display could show what the value field holds, in some mode. */
function isFigure(lesson: Lesson, h: Hypothesis, frame: Uint8Array, { glance }: Example): boolean {
  const raw = decodeValue(h.field, frame);
  if (raw === null || typeof raw === 'string' || isEndCode(h.field, raw.digits)) return false;
  return lesson.modes.some((mode, i) => {
    const exponent = h.scale.exponents[i] ?? null;
    if (exponent === null || (glance.unit && glance.unit.symbol !== mode.unit.symbol)) return false;
    const figure = Math.abs(raw.digits) * 10 ** (raw.exponent + exponent);
    return figure < 10 ** (lesson.digits + mode.lastDigit);
  });
}

function modeRows(
  lesson: Lesson,
  h: Hypothesis,
  view: View,
  bits: Bits,
  doubts: Doubt[],
): MeterDescription['modes']['rows'] {
  const rows = new Map<string, MeterDescription['modes']['rows'][number]>();
  lesson.modes.forEach((mode, index) => {
    const exponent = h.scale.exponents[index]!;
    const { quantity } = mode.unit;
    if (exponent === null && quantity !== null) {
      doubts.push({
        sentence: `Only zero was shown in ${unitText(mode.unit)} with ${mode.decimals} decimals.`,
        next: `a figure other than zero in ${unitText(mode.unit)} with ${mode.decimals} decimals`,
      });
      return;
    }
    const limit = 10 ** (lesson.digits + mode.lastDigit - (exponent ?? mode.lastDigit));
    lesson.figures.forEach((e, i) => {
      if (e.mode !== index) return;
      const is = codeAt(view.frames[i]!, bits);
      const before = rows.get(is);
      rows.set(is, {
        is,
        quantity,
        exponent: exponent ?? 0,
        limit: Math.max(limit, before?.limit ?? 0),
        ac: mode.ac,
      });
    });
  });
  return [...rows.values()];
}

function modesText(modes: readonly ShownMode[]): string {
  return modes.map((m) => `${unitText(m.unit)} with ${m.decimals} decimals${m.ac ? ' AC' : ''}`).join(', ');
}
