import type { Span } from './condition.ts';
import { withoutEchoes } from './echoes.ts';
import { follow, hitsBeforeChange, roomFor, type Followed } from './follow.ts';
import { hasDeadTime, hitsBeforeLasting } from './dead-time.ts';
import { joinInterleaved } from './interleaved.ts';
import { LOCK_LEAST, LOCK_WINDOW, lockOn } from './lock.ts';
import { quantile, valuesAt } from './statistics.ts';
import { joinAcrossGaps, refitted, toStretch } from './stretches.ts';

/** Stage 6: pulse trains among visible pulses: lock on to a period, then follow its clock pulse by pulse. */

export interface PulseTimes {
  readonly count: number;
  readonly at: Float64Array;
  readonly charge: Float64Array;
  /** How far each time may be off beyond the timing's tolerance (a long pulse that another one fell into). */
  readonly blur: Float64Array;
}

export interface Stretch {
  readonly firstS: number;
  readonly lastS: number;
  readonly periodS: number;
  /** Standard uncertainty of the period. */
  readonly periodU: number;
  /** Repetitions from the first to the last, those that fell between readings included. */
  readonly pulses: number;
  /** Which pulses (indices into the pulses given) belong to it. */
  readonly members: Int32Array;
  /** Repetition number of each member, counted from the first. */
  readonly slots: Float64Array;
}

export interface Timing {
  /** How far a pulse's time can be from the truth: half an interval and the radio's delay. */
  readonly toleranceS: number;
  /** Length of the readings that quantise the times; 0 where the times are exact. */
  readonly readingS: number;
  readonly leastPeriodS: number;
  /** Share of the time that the readings' apertures cover; default 1. So many of a train's narrow pulses are seen. */
  readonly openShare?: number;
  readonly gaps: readonly Span[];
}

const MOST_TRAINS = 4;

export function findTrains(given: PulseTimes, timing: Timing): Stretch[] {
  const pulses = { ...given, at: given.at.slice(), charge: given.charge.slice() };
  const free = new Uint8Array(pulses.count).fill(1);
  const out: Stretch[] = [];
  const timed = new Set<Stretch>();
  const room = roomFor(pulses.count);
  for (let round = 0; round < MOST_TRAINS; round++) {
    const index = indicesOf(free);
    if (index.length < LOCK_LEAST) break;
    const found = followAll(pulses, index, timing, room, timed);
    if (found.length === 0) break;
    for (const stretch of found) {
      for (const i of stretch.members) free[i] = 0;
      claimNearBeats(pulses, stretch, timing, free);
      leaveTheRest(pulses, stretch, timing, free);
    }
    out.push(...found);
  }
  return withoutEchoes(
    given,
    wholeTrains(pulses, out, timing).map((s) => (timed.has(s) ? s : refitted(pulses, s, timing))),
    timing,
  ).sort((a, b) => a.firstS - b.firstS || a.periodS - b.periodS);
}

function wholeTrains(pulses: PulseTimes, parts: readonly Stretch[], timing: Timing): readonly Stretch[] {
  const apart = joinInterleaved(pulses, parts, timing);
  const found = joinInterleaved(pulses, joinAcrossGaps(apart, timing), timing);
  // A stretch that has grown may now reach the next one.
  return found.length < apart.length ? wholeTrains(pulses, found, timing) : found;
}

/** A pulse with this much more charge than its train's others has another train's pulse in it. */
const MORE_CHARGE = 1.35;

const WHOLE = 0.9;

/** Charge of a train's pulse that was seen whole: those that fall partly between apertures show less. */
function wholeCharge(pulses: PulseTimes, { members }: Stretch, timing: Timing): number {
  return quantile(valuesAt(pulses.charge, members), hasDeadTime(timing) ? WHOLE : 0.5);
}

/** What is left of such pulses when the train's own is taken out stays free for the next train. */
function leaveTheRest(pulses: PulseTimes, stretch: Stretch, timing: Timing, free: Uint8Array): void {
  const { members, slots, firstS, periodS } = stretch;
  const usual = wholeCharge(pulses, stretch, timing);
  members.forEach((i, k) => {
    const charge = pulses.charge[i]!;
    if (charge < MORE_CHARGE * usual) return;
    const own = members.length > 2 ? nearBeat(pulses.at, members, slots, k, periodS) : firstS;
    const rest = charge - usual;
    pulses.at[i] = Math.min(
      pulses.at[i]! + 4 * pulses.blur[i]! + periodS,
      Math.max(pulses.at[i]! - 4 * pulses.blur[i]! - periodS, (pulses.at[i]! * charge - own * usual) / rest),
    );
    pulses.charge[i] = rest;
    free[i] = 1;
  });
}

/**
 * Pulses beside a beat that carry no more charge than the train's own are its own: parts of one that a lost
 * reading cut in two, or one that came too late to be followed.
 */
function claimNearBeats(pulses: PulseTimes, stretch: Stretch, timing: Timing, free: Uint8Array): void {
  const { members, slots, periodS } = stretch;
  const usual = wholeCharge(pulses, stretch, timing);
  for (let k = 0; k + 1 < members.length; k++) {
    const [a, b] = [members[k]!, members[k + 1]!];
    const steps = slots[k + 1]! - slots[k]!;
    const step = (pulses.at[b]! - pulses.at[a]!) / steps;
    for (let i = a + 1; i < b; i++) {
      if (free[i] === 0) continue;
      const beats = (pulses.at[i]! - pulses.at[a]!) / step;
      const near = Math.round(beats);
      if (Math.abs(beats - near) * periodS > timing.toleranceS + pulses.blur[i]!) continue;
      const other = near === 0 ? pulses.charge[a]! : near === steps ? pulses.charge[b]! : 0;
      if (pulses.charge[i]! + other < MORE_CHARGE * usual) free[i] = 0;
    }
  }
}

/** When the train's own pulse was due, from its nearest ordinary neighbour. */
function nearBeat(
  at: Float64Array,
  members: Int32Array,
  slots: Float64Array,
  k: number,
  periodS: number,
): number {
  const other = k > 0 ? k - 1 : k + 1;
  return at[members[other]!]! + (slots[k]! - slots[other]!) * periodS;
}

function indicesOf(free: Uint8Array): Int32Array {
  let n = 0;
  for (const f of free) n += f;
  const index = new Int32Array(n);
  let k = 0;
  for (let i = 0; i < free.length; i++) if (free[i] === 1) index[k++] = i;
  return index;
}

/** Beats before the first that a train was locked on to, as long as no more than a few are missing. */
function backwards(pulses: PulseTimes, index: Int32Array, stretch: Stretch, timing: Timing): Stretch {
  const { firstS, periodS } = stretch;
  const members: number[] = [];
  const slots: number[] = [];
  let last = 0;
  for (let p = index.indexOf(stretch.members[0]!) - 1; p >= 0; p--) {
    const i = index[p]!;
    const beats = (firstS - pulses.at[i]!) / periodS;
    if (beats > last + MOST_MISSED) break;
    const near = Math.round(beats);
    if (near <= last || Math.abs(beats - near) * periodS > timing.toleranceS + pulses.blur[i]!) continue;
    members.unshift(i);
    slots.unshift(near);
    last = near;
  }
  if (last === 0) return stretch;
  return {
    ...stretch,
    firstS: firstS - last * periodS,
    pulses: stretch.pulses + last,
    members: Int32Array.from([...members, ...stretch.members]),
    slots: Float64Array.from([...slots.map((s) => last - s), ...Array.from(stretch.slots, (s) => s + last)]),
  };
}

const MOST_MISSED = 3;

/** All stretches of one train after another among the pulses still free, in time order; `timed` by all of their pulses. */
function followAll(
  pulses: PulseTimes,
  index: Int32Array,
  timing: Timing,
  room: Followed,
  timed: Set<Stretch>,
): Stretch[] {
  const found: Stretch[] = [];
  let start = 0;
  let taken = 0;
  while (start + LOCK_LEAST <= index.length) {
    const lock = lockOn(pulses, index, start, timing);
    if (lock === null) {
      start += LOCK_WINDOW / 2;
      continue;
    }
    const followed = follow(pulses, index, lock, timing, room);
    const kept = hasDeadTime(timing) ? hitsBeforeLasting(followed.slots) : hitsBeforeChange(followed.slots);
    const stretch = toStretch(pulses, followed, kept, timing);
    if (stretch !== null) {
      timed.add(stretch);
      found.push(backwards(pulses, index.subarray(taken), stretch, timing));
    }
    // What follows the train's last sure pulse may be the first of the next train: look again from there.
    const last = stretch === null ? kept - 1 : followed.members.lastIndexOf(stretch.members.at(-1)!);
    start = Math.max(followed.places[last]! + 1, start + 1);
    if (stretch !== null) taken = start;
  }
  return found;
}
