import { overlapOf, type Span } from './condition.ts';
import { hasDeadTime, beatsUnseen } from './dead-time.ts';
import { surestRun, type Followed } from './follow.ts';
import { LOCK_LEAST } from './lock.ts';
import { realisedPeriod } from './period.ts';
import { mean, median, valuesAt } from './statistics.ts';
import type { PulseTimes, Stretch, Timing } from './trains.ts';

/** A followed train as a stretch with one period, its uncertainty, and stretches that belong together. */

const FEW = 0.1;

/**
 * The largest m of which nearly all steps between the hits [a, b] are multiples. A meter with dead time sees one pulse
 * in m for a while, then another one in m: with `oneClass` nearly all hits must be of the same.
 */
function commonMultiple(slots: Float64Array, a: number, b: number, oneClass: boolean): number {
  let most = Infinity;
  for (let i = a; i < b; i++) most = Math.min(most, slots[i + 1]! - slots[i]!);
  for (let m = Math.min(12, Math.max(1, 2 * most)); m > 1; m--) {
    let misfits = 0;
    for (let i = a; i < b && misfits <= FEW * (b - a); i++)
      if (((slots[i + 1]! - slots[i]!) | 0) % m !== 0) misfits++;
    if (misfits <= FEW * (b - a) && !(oneClass && mostOfOneClass(slots, a, b, m) < 1 - FEW)) return m;
  }
  return 1;
}

/** The largest share of the hits [a, b] whose slots leave the same remainder when divided by m. */
function mostOfOneClass(slots: Float64Array, a: number, b: number, m: number): number {
  const count = new Float64Array(m);
  for (let i = a; i <= b; i++) count[(slots[i]! - slots[a]!) % m]!++;
  return count.reduce((most, n) => Math.max(most, n), 0) / (b - a + 1);
}

/** Slots with those that fell into gaps taken out, so that a gap does not count as misses. */
function slotsWithoutGaps(at: Float64Array, f: Followed, hits: number, gaps: readonly Span[]): Float64Array {
  const out = f.slots.slice(0, hits);
  const span = at[f.members[hits - 1]!]! - at[f.members[0]!]!;
  const period = span / Math.max(1, f.slots[hits - 1]!);
  let lost = 0;
  for (let i = 1; i < hits; i++) {
    const steps = f.slots[i]! - f.slots[i - 1]!;
    if (steps > 2) {
      const hidden = overlapOf(gaps, at[f.members[i - 1]!]!, at[f.members[i]!]!);
      lost += Math.min(steps - 1, Math.round(hidden / period));
    }
    out[i] = f.slots[i]! - lost;
  }
  return out;
}

export function toStretch(pulses: PulseTimes, f: Followed, hits: number, timing: Timing): Stretch | null {
  const { at } = pulses;
  if (hits < LOCK_LEAST) return null;
  const run = surestRun(slotsWithoutGaps(at, f, hits, timing.gaps), hits);
  if (run.to - run.from < LOCK_LEAST) return null;
  const base = f.slots[run.from]!;
  const multiple = commonMultiple(f.slots, run.from, run.to - 1, hasDeadTime(timing));
  const members = new Int32Array(run.to - run.from);
  const slots = new Float64Array(run.to - run.from);
  let n = 0;
  for (let i = run.from; i < run.to; i++) {
    const s = f.slots[i]! - base;
    if (multiple > 1 && s % multiple !== 0) continue;
    members[n] = f.members[i]!;
    slots[n++] = s / multiple;
  }
  const own = { members: members.subarray(0, n), slots: slots.subarray(0, n) };
  const fit = beatOf(pulses, own.members, own.slots, timing.readingS);
  return fit && { ...fit.beat, ...own };
}

/** The beat of pulses seen at their times, and the deviation of these about it. */
function beatOf(
  pulses: PulseTimes,
  members: ArrayLike<number>,
  slots: ArrayLike<number>,
  lengthS: number,
): { readonly beat: Beat; readonly deviation: number } | null {
  const blur = valuesAt(pulses.blur, members);
  // Where pulses of this length fall anywhere into readings.
  const scatterS = lengthS / Math.sqrt(12) / (1 + (4 * median(blur)) / Math.max(lengthS, 1e-9)) ** 2;
  const readings = { lengthS, scatterS, widthS: 4 * mean(blur) };
  const fit = realisedPeriod(slots, valuesAt(pulses.at, members), readings);
  if (fit === null) return null;
  const { firstS, periodS, standardU, deviation } = fit;
  const last = slots[slots.length - 1]!;
  const beat = { firstS, lastS: firstS + periodS * last, periodS, periodU: standardU, pulses: last + 1 };
  return { beat, deviation };
}

/** A stretch whose members have changed since it was fitted, timed anew where its beats still keep one clock. */
export function refitted(pulses: PulseTimes, s: Stretch, timing: Timing): Stretch {
  const fit = beatOf(pulses, s.members, s.slots, timing.readingS);
  if (fit === null || fit.beat.pulses < 2 || fit.deviation > timing.toleranceS + s.periodS / 10) return s;
  return { ...s, ...fit.beat };
}

/** Joins stretches, on either side of a gap or of a missed lock, that keep the same period and beat. */
export function joinAcrossGaps(found: readonly Stretch[], timing: Timing): Stretch[] {
  const out: Stretch[] = [];
  for (const next of [...found].sort((a, b) => a.firstS - b.firstS)) {
    const k = out.findLastIndex(
      (s) => s.firstS < next.firstS + next.periodS / 2 && sameTrain(s, next, timing),
    );
    if (k < 0) out.push(next);
    else out[k] = joined(out[k]!, next);
  }
  return out;
}

/** A train's beat without its single pulses. */
export type Beat = Pick<Stretch, 'firstS' | 'lastS' | 'periodS' | 'periodU' | 'pulses'>;

/** Seconds that two trains have in common; below 0 how far they lie apart. */
export function commonS(a: Pick<Beat, 'firstS' | 'lastS'>, b: Pick<Beat, 'firstS' | 'lastS'>): number {
  return Math.min(a.lastS, b.lastS) - Math.max(a.firstS, b.firstS);
}

/** Whether no other train runs beside this one. */
export function runsAlone(
  stretch: Pick<Beat, 'firstS' | 'lastS'>,
  all: readonly Pick<Beat, 'firstS' | 'lastS'>[],
): boolean {
  return all.every((s) => s === stretch || commonS(s, stretch) < 0);
}

function joined(a: Stretch, b: Stretch): Stretch {
  const { offset, ...beat } = joinedBeat(a, b);
  return {
    ...beat,
    ...inOrder([...a.members, ...b.members], [...a.slots, ...Array.from(b.slots, (s) => s + offset)]),
  };
}

/** Two stretches of one train as one; `offset` is the repetition number of the second one's first pulse. */
export function joinedBeat(a: Beat, b: Beat): Beat & { readonly offset: number } {
  const wa = 1 / a.periodU ** 2;
  const wb = 1 / b.periodU ** 2;
  let periodS = (a.periodS * wa + b.periodS * wb) / (wa + wb);
  let periodU = 1 / Math.sqrt(wa + wb);
  const jump = Math.round((b.firstS - a.lastS) / periodS);
  const offset = a.pulses - 1 + (b.firstS < a.lastS ? jump : Math.max(1, jump));
  const slots = Math.max(a.pulses - 1, offset + b.pulses - 1);
  // Where the count across the gap is beyond doubt, the whole span times the train.
  const doubt = jump * Math.hypot(a.periodU, b.periodU);
  if (doubt < 0.1 * periodS) {
    const span = (Math.max(a.lastS, b.lastS) - a.firstS) / slots;
    const spanU = Math.hypot(a.periodU * a.pulses, b.periodU * b.pulses) / slots;
    if (spanU < periodU) {
      periodS = span;
      periodU = spanU;
    }
  }
  const lastS = Math.max(a.lastS, b.lastS);
  return { firstS: a.firstS, lastS, periodS, periodU, pulses: slots + 1, offset };
}

/** Members and slots rising; of two members of one slot the first. */
export function inOrder(
  members: readonly number[],
  slots: readonly number[],
): { members: Int32Array; slots: Float64Array } {
  const order = slots.map((_, k) => k).sort((x, y) => slots[x]! - slots[y]! || members[x]! - members[y]!);
  const kept = order.filter((k, n) => n === 0 || slots[k]! > slots[order[n - 1]!]!);
  return {
    members: Int32Array.from(kept, (k) => members[k]!),
    slots: valuesAt(slots, kept),
  };
}

/** Relative: no search changes its pace by as little as this. */
const SAME_PERIOD = 1e-3;

type Joining = Pick<Timing, 'gaps' | 'toleranceS' | 'openShare' | 'readingS'>;

export function samePace(a: Beat, b: Beat): boolean {
  const apart = Math.abs(a.periodS - b.periodS);
  return apart <= 4 * Math.hypot(a.periodU, b.periodU) + SAME_PERIOD * a.periodS;
}

export function sameTrain(a: Beat, b: Beat, timing: Joining): boolean {
  const between = Math.max(0, b.firstS - a.lastS);
  const silent = between - overlapOf(timing.gaps, a.lastS, b.firstS);
  const apart = Math.abs(a.periodS - b.periodS);
  const unseen = Math.max(beatsUnseen(a, timing), beatsUnseen(b, timing)) * a.periodS;
  const most = Math.max(30 * a.periodS, 0.02 * (b.lastS - a.firstS), unseen);
  if (silent > most) return false;
  if (!samePace(a, b)) return false;
  const beats = Math.abs(b.firstS - a.lastS) / a.periodS;
  const off = Math.abs(beats - Math.round(beats)) * a.periodS;
  const doubt =
    Math.max(1, beats) * Math.max(Math.hypot(a.periodU, b.periodU) + 2e-4 * a.periodS, apart) +
    timing.toleranceS;
  return between > silent || off <= 2 * doubt;
}
