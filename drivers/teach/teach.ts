import { hexOf, union, unmasked, without } from './bits.ts';
import { areCopies, bitsOfAll, checkedCopies, copyRules, withCopies } from './copies.ts';
import {
  METER_SCHEMA,
  meterDescriptionSchema,
  type Bits,
  type Checksum,
  type MeterDescription,
  type ValueField,
} from './description.ts';
import { figureText, prepare, type Lesson } from './examples.ts';
import { plainFields } from './fields.ts';
import { findChecksums, isUsual, type FoundChecksum } from './findChecksum.ts';
import { holds, isSure, tryField, type Hypothesis } from './hypothesis.ts';
import { keyHypotheses, maskHypotheses } from './masks.ts';
import { analyse, type Analysis, type Doubt } from './modes.ts';
import { mismatch } from './proof.ts';
import { registerBits } from './registers.ts';
import { disagreement, refines, unproven, withFixed } from './rivals.ts';
import { segmentHypotheses } from './segments.ts';
import { bitsOf } from './value.ts';
import { widerGlance } from './advice.ts';

export interface TeachResult {
  /** Only a learned description may be saved. */
  readonly state: 'learned' | 'ambiguous' | 'none';
  /** Encodings that explain every glance and differ within the range shown. */
  readonly fits: number;
  readonly description: MeterDescription | null;
  /** What to show on the display next: to settle what is open, or, once learned, to widen what is known. */
  readonly nextGlance: string | null;
  /** Sentences for the technician. */
  readonly reasons: readonly string[];
}

export interface TeachingGlance {
  readonly frame: Uint8Array;
  readonly display: string;
}

const MOST_RIVALS = 120;
const FEWEST_TO_LEAVE_ONE_OUT = 5;

/** Finds how a meter encodes what its display shows, from frames and the figures read at the same moments. */
export function teach(glances: readonly TeachingGlance[]): TeachResult {
  const lesson = prepare(glances);
  if (Array.isArray(lesson)) {
    return { state: 'none', fits: 0, description: null, nextGlance: null, reasons: lesson };
  }
  const found = search(lesson);
  if ('reasons' in found) {
    const { reasons } = found;
    return {
      state: 'none',
      fits: 0,
      description: null,
      nextGlance: 'check each figure, then one more',
      reasons,
    };
  }
  return conclude(lesson, found);
}

interface Survivor {
  readonly h: Hypothesis;
  readonly analysis: Extract<Analysis, { ok: true }>;
  /** Octets of the checksum. */
  readonly taken: ReadonlySet<number>;
}

const reader = ({ h, analysis }: Survivor) => ({ h, modeBits: analysis.around.modes.bits });

interface Search {
  readonly survivors: readonly Survivor[];
  readonly checksum: FoundChecksum | null;
}

/** Places of a checksum to try before reading the frame without one. */
const MOST_CHECKSUMS = 3;

/** Simplest kinds of encoding first; a more elaborate kind is tried only where no simpler one explains all. */
function search(lesson: Lesson): Search | { readonly reasons: string[] } {
  const frames = lesson.examples.map((e) => e.frame);
  const checksums = [...findChecksums(frames).slice(0, MOST_CHECKSUMS), null];
  const reasons = new Set<string>();
  for (const tier of [plain, keyed, masked]) {
    // One figure read wrongly is likelier than a mask.
    const odd = tier === keyed ? oddGlance(lesson) : null;
    if (odd) return { reasons: ['No encoding explains all glances.', odd] };
    const candidates = tier(lesson);
    for (const checksum of checksums) {
      const survivors = explain(lesson, outside(candidates, checksum), checksum, reasons);
      if (survivors.length > 0) return { survivors, checksum };
    }
  }
  return { reasons: ['No encoding that can be learned explains all glances.', ...reasons] };
}

/**
 * The candidates that leave the checksum's octets alone. None, where one that does not explains the figures as well:
 * then those octets are no checksum (two copies of a figure make one by exclusive or).
 */
function outside(candidates: readonly Hypothesis[], checksum: FoundChecksum | null): readonly Hypothesis[] {
  if (!checksum) return candidates;
  const clear = (h: Hypothesis) => bitsOf(h.field).every(({ at }) => !checksum.octets.has(at));
  const own = candidates.filter(clear);
  const least = Math.min(...own.map((h) => h.scale.hidden));
  const other = candidates.some((h) => !clear(h) && isSure(h) && h.scale.hidden <= least);
  return other ? [] : own;
}

/** The candidates, cheapest first, for which the rest of the frame can be explained too. */
function explain(
  lesson: Lesson,
  candidates: readonly Hypothesis[],
  checksum: FoundChecksum | null,
  reasons: Set<string>,
): Survivor[] {
  const survivors: Survivor[] = [];
  const none = new Set<number>();
  // Under a key for the whole frame, a sum shows only once the key is taken off.
  const underKey = new Map<number, ReadonlySet<number>>();
  const takenFor = ({ mask }: Hypothesis) => {
    if (checksum) return checksum.octets;
    const key = mask?.[0] ?? 0;
    if (!mask?.every((m) => m === key)) return none;
    const known = underKey.get(key) ?? unmaskedChecksum(lesson, mask)?.octets ?? none;
    underKey.set(key, known);
    return known;
  };
  for (const h of [...candidates].sort((a, b) => a.cost - b.cost)) {
    const taken = takenFor(h);
    const analysis = analyse(lesson, h, taken);
    if (analysis.ok) survivors.push({ h, analysis, taken });
    else reasons.add(analysis.sentence);
    if (survivors.length >= MOST_RIVALS) break;
  }
  return survivors;
}

function unmaskedChecksum(lesson: Lesson, mask: Uint8Array): FoundChecksum | null {
  return findChecksums(lesson.examples.map((e) => unmasked(e.frame, mask)))[0] ?? null;
}

type Tier = (lesson: Lesson) => Hypothesis[];

const plain: Tier = (lesson) => {
  const frames = lesson.figures.map((e) => e.frame);
  const fields = plainFields(lesson.length);
  const numbers = fields.flatMap(({ field, cost }) => tryField(lesson, field, null, cost, frames) ?? []);
  return [...numbers, ...segmentHypotheses(lesson, false)];
};

const keyed: Tier = (lesson) => keyHypotheses(lesson);

const masked: Tier = (lesson) => [...maskHypotheses(lesson), ...segmentHypotheses(lesson, true)];

function conclude(lesson: Lesson, { survivors, checksum }: Search): TeachResult {
  // A field too narrow for the display's digits is no rival of one that is wide enough.
  const wide = survivors.filter((s) => holds(s.h, lesson));
  const rivals = wide.length > 0 ? wide : [...survivors];
  // Of two that differ only in digits beyond the display's, the one that reads what is shown; of two that read the
  // same, the one that explains more of the frame, and rather one that needs no code for its decimal point.
  rivals.sort(
    (a, b) =>
      a.h.scale.hidden - b.h.scale.hidden ||
      a.analysis.doubts.length - b.analysis.doubts.length ||
      Number(hasOwnPoint(b.h.field)) - Number(hasOwnPoint(a.h.field)) ||
      a.h.cost - b.h.cost,
  );
  const first = rivals.find((s) => isSure(s.h)) ?? rivals[0]!;
  const copies: Hypothesis[] = [];
  const beyond: Hypothesis[] = [];
  const groups: { s: Survivor; at: string }[] = [];
  for (const s of rivals) {
    if (s === first) continue;
    const apart = disagreement(lesson, reader(first), reader(s));
    if (areCopies(lesson, first.h, s.h)) {
      copies.push(s.h);
      continue;
    }
    const cut = refines(lesson, first.h, s.h, heldStill(first)) === 'cut';
    if (cut && hasTextBeyond(lesson, first.h, s.h)) beyond.push(s.h);
    if (!apart || cut) continue;
    if (groups.some((g) => !disagreement(lesson, reader(g.s), reader(s)))) continue;
    groups.push({ s, at: figureText(apart.value, lesson.modes[apart.mode]!) });
  }
  const fits = groups.length + 1;
  const alike = rivals
    .map((s) => s.h)
    .filter((h) => h !== first.h && !copies.includes(h) && refines(lesson, first.h, h, []) === 'no');
  const { best, rules } = explained(lesson, first, checkedCopies(first.h, copies), bitsOfAll(beyond));
  const description = describe(lesson, best, rules, alike, checksum);
  const doubts: Doubt[] = [...best.analysis.doubts, ...unseenDigits(best.h)];
  if (groups.length > 0) {
    doubts.unshift({
      sentence: `${fits} encodings explain all glances and disagree on others.`,
      next: `a figure unlike those shown, with all digits different (near ${groups[0]!.at} would tell)`,
    });
  }
  if (!isSure(best.h)) {
    doubts.push({
      sentence: 'The figures shown are too few or too alike to rule out chance.',
      next: 'a figure clearly different from those shown',
    });
  }
  if (isLooseMask(best.h, description.checksum)) {
    doubts.push({
      sentence: 'The mask over the last digits, which the display does not show, is not certain.',
      next: 'more figures; a meter whose hidden digits are masked may stay uncertain',
    });
  }
  if (mayGoOn(lesson, best, checksum)) {
    doubts.push({
      sentence:
        'The octet after the last digit changes too: it may hold a digit by which the display rounds.',
      next: 'another, different figure',
    });
  }
  const wrong = mismatch(lesson, description);
  if (wrong) doubts.push({ sentence: wrong, next: 'the same figure once more, at rest' });
  const reasons = doubts.map((d) => d.sentence);
  if (checksum && !checksum.checksum) {
    reasons.push(
      'There seems to be a checksum, but its form is not certain yet, so bad frames are not refused by it.',
    );
  }
  if (doubts.length > 0) {
    return { state: 'ambiguous', fits, description: null, nextGlance: doubts[0]!.next, reasons };
  }
  const wider = widerGlance(lesson, description, best.analysis.unruly);
  return {
    state: 'learned',
    fits,
    description,
    nextGlance: wider.next,
    reasons: [...reasons, ...wider.sentences],
  };
}

/** The same, once its copies and registers are known for what they are. */
function explained(
  lesson: Lesson,
  { h, analysis, taken }: Survivor,
  copies: readonly Hypothesis[],
  beyond: Bits,
): { readonly best: Survivor; readonly rules: MeterDescription['copies'] } {
  const known = union(without(beyond, bitsOf(h.field)), registerBits(lesson, h, taken));
  for (let count = copies.length; count >= 0; count--) {
    const some = copies.slice(0, count);
    const own = withCopies(h, some);
    const again = analyse(lesson, own, taken, union(bitsOfAll(some), known));
    const rules = again.ok ? copyRules(lesson, own, some, again.around.modes) : null;
    if (again.ok && rules) return { best: { h: own, analysis: again, taken }, rules };
  }
  return { best: { h, analysis, taken }, rules: [] };
}

const FEWEST_LAST_DIGITS = 3;

/** Whether `wide` is the same text with a digit more than the display shows: an octet that took several digits. */
function hasTextBeyond(lesson: Lesson, narrow: Hypothesis, wide: Hypothesis): boolean {
  const [a, b] = [narrow.field, wide.field];
  if (a.kind !== 'text' || b.kind !== 'text' || a.at !== b.at || b.length <= a.length) return false;
  const last = b.at + b.length - 1;
  return new Set(lesson.figures.map((e) => e.frame[last])).size >= FEWEST_LAST_DIGITS;
}

/** A number that says itself where its decimal point is. */
function hasOwnPoint({ kind }: ValueField): boolean {
  return kind === 'text' || kind === 'sfloat' || kind === 'float' || kind === 'float32';
}

/** Bits that a description keeps to the states that were shown. */
function heldStill({ analysis: { around } }: Survivor): Bits {
  return [around.fixed, around.modes, around.sign, ...around.flags].reduce<Bits>(
    (bits, part) => union(bits, part?.bits ?? []),
    [],
  );
}

function describe(
  lesson: Lesson,
  { h, analysis }: Survivor,
  copies: MeterDescription['copies'],
  alike: readonly Hypothesis[],
  checksum: FoundChecksum | null,
): MeterDescription {
  const first = unmasked(lesson.figures[0]!.frame, h.mask);
  const { around } = analysis;
  return meterDescriptionSchema.parse({
    schema: METER_SCHEMA,
    title: 'Taught meter',
    source: null,
    nameStartsWith: null,
    length: lesson.length,
    mask: h.mask ? hexOf(h.mask) : null,
    checksum: (h.mask ? unmaskedChecksum(lesson, h.mask) : checksum)?.checksum ?? null,
    ...around,
    fixed: withFixed(around.fixed, unproven(lesson, h, alike), first),
    value: h.field,
    copies,
  } satisfies MeterDescription);
}

/**
 * Under digits beyond the display's the mask's last bits are open, unless it is one key that a third octet or the
 * checksum bears out.
 */
function isLooseMask({ field, mask, scale }: Hypothesis, checksum: Checksum | null): boolean {
  if (mask === null || field.kind !== 'integer' || scale.hidden === 0) return false;
  const isKey = mask.every((m) => m === mask[0]);
  return !isKey || (field.octets < 3 && !(checksum && isUsual(checksum)));
}

const FIGURES_FOR_ROUNDING = 9;

/** Masked text may have one more digit than shown; a display that rounds would part from it in half the figures. */
function mayGoOn(lesson: Lesson, { h }: Survivor, checksum: FoundChecksum | null): boolean {
  if (h.field.kind !== 'text' || !h.mask || h.mask.every((m) => m === h.mask![0])) return false;
  const after = h.field.at + h.field.length;
  if (after >= lesson.length || checksum?.octets.has(after)) return false;
  if (new Set(lesson.figures.map((e) => e.counts)).size >= FIGURES_FOR_ROUNDING) return false;
  return lesson.figures.some((e) => e.frame[after] !== lesson.figures[0]!.frame[after]);
}

function unseenDigits({ field }: Hypothesis): Doubt[] {
  if (field.kind !== 'segments') return [];
  const open = field.codes.flatMap((codes, digit) => (codes.length === 0 ? [digit] : []));
  if (open.length === 0) return [];
  const list = open.join(', ');
  return [
    {
      sentence: `How the meter draws ${list} is not certain yet.`,
      next: `a figure with ${open.length > 1 ? 'some of these digits' : 'this digit'}: ${list}`,
    },
  ];
}

/** A figure that was read at the wrong moment spoils all: name it where leaving it out helps. */
function oddGlance(lesson: Lesson): string | null {
  if (lesson.figures.length < FEWEST_TO_LEAVE_ONE_OUT) return null;
  for (const odd of lesson.figures) {
    const rest = { ...lesson, figures: lesson.figures.filter((e) => e !== odd) };
    if (plain(rest).some((h) => isSure(h) && analyse(rest, h, new Set()).ok)) {
      const number = lesson.examples.indexOf(odd) + 1;
      return `Without glance ${number} the others fit; was its figure just changing?`;
    }
  }
  return null;
}
