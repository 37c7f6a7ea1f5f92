import { overlapOf, type Span } from './condition.ts';
import { changePointsOfLongSeries } from './change-points.ts';
import { fitLine, median } from './statistics.ts';

/** Stage 6: pulse trains among visible pulses: lock on to a period, then follow its clock pulse by pulse. */

export interface PulseTimes {
  readonly count: number;
  readonly at: Float64Array;
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
  readonly leastPeriodS: number;
  readonly gaps: readonly Span[];
}

const LOCK_WINDOW = 96;
const LOCK_LEAST = 5;
const MOST_TRAINS = 4;
/** Of a real train's pulses a meter with dead time still sees some; fewer than this are coincidences. */
const LEAST_HIT_RATE = 0.1;

export function findTrains(pulses: PulseTimes, timing: Timing): Stretch[] {
  const free = new Uint8Array(pulses.count).fill(1);
  const out: Stretch[] = [];
  for (let round = 0; round < MOST_TRAINS; round++) {
    const index = indicesOf(free);
    if (index.length < LOCK_LEAST) break;
    const found = followAll(pulses, index, timing);
    if (found.length === 0) break;
    for (const stretch of found) for (const i of stretch.members) free[i] = 0;
    out.push(...found);
  }
  return joinAcrossGaps(out, timing).sort((a, b) => a.firstS - b.firstS || a.periodS - b.periodS);
}

function indicesOf(free: Uint8Array): Int32Array {
  let n = 0;
  for (const f of free) n += f;
  const index = new Int32Array(n);
  let k = 0;
  for (let i = 0; i < free.length; i++) if (free[i] === 1) index[k++] = i;
  return index;
}

/** All stretches of one train after another among the pulses still free, in time order. */
function followAll(pulses: PulseTimes, index: Int32Array, timing: Timing): Stretch[] {
  const found: Stretch[] = [];
  let start = 0;
  while (start + LOCK_LEAST <= index.length) {
    const lock = lockOn(pulses.at, index, start, timing);
    if (lock === null) {
      start += LOCK_WINDOW / 2;
      continue;
    }
    const followed = follow(pulses.at, index, lock, timing);
    const kept = hitsBeforeChange(followed.slots);
    const stretch = toStretch(pulses.at, followed, kept);
    if (stretch !== null) found.push(stretch);
    start = Math.max(
      kept < followed.members.length ? followed.places[kept - 1]! + 1 : followed.next,
      start + 1,
    );
  }
  return found;
}

interface Lock {
  readonly periodS: number;
  readonly anchorS: number;
  /** Position in `index` of the anchor. */
  readonly from: number;
  readonly hitRate: number;
}

/**
 * The period that most of a window of pulses keeps. Candidates are the differences between near pulses; a
 * candidate is scored by its hits times its hit rate, which neither a multiple nor a fraction of the true
 * period can beat, and must do far better than chance.
 */
function lockOn(at: Float64Array, index: Int32Array, start: number, timing: Timing): Lock | null {
  const end = Math.min(index.length, start + LOCK_WINDOW);
  const times = Float64Array.from(index.subarray(start, end), (i) => at[i]!);
  let best: Lock | null = null;
  let bestScore = 0;
  for (const { periodS, anchor } of candidates(times, timing)) {
    const tried = tryPeriod(times, anchor, periodS, timing);
    if (tried === null || tried.score <= bestScore * 1.0001) continue;
    bestScore = tried.score;
    best = { periodS: tried.periodS, anchorS: times[anchor]!, from: start + anchor, hitRate: tried.hitRate };
  }
  return best;
}

/** Distinct differences between each of the first pulses and the next few, refined over the window. */
function candidates(times: Float64Array, timing: Timing): { periodS: number; anchor: number }[] {
  const out: { periodS: number; anchor: number }[] = [];
  const anchors = Math.min(times.length - 1, 6);
  for (let a = 0; a < anchors; a++)
    for (let b = a + 1; b < Math.min(times.length, a + 9); b++) {
      const periodS = times[b]! - times[a]!;
      if (periodS >= timing.leastPeriodS) out.push({ periodS, anchor: a });
    }
  return out;
}

interface Tried {
  readonly score: number;
  readonly hitRate: number;
  readonly periodS: number;
}

function tryPeriod(times: Float64Array, anchor: number, first: number, timing: Timing): Tried | null {
  const tol = timing.toleranceS;
  let period = first;
  let slots = 0;
  let hits = 1;
  let lastHit = times[anchor]!;
  let lastSlot = 0;
  const hitTimes = [lastHit];
  const hitSlots = [0];
  for (let i = anchor + 1; i < times.length; i++) {
    const elapsed = times[i]! - lastHit;
    const steps = Math.round(elapsed / period);
    if (steps < 1) continue;
    // Until the period is known well, only near pulses may be claimed.
    const known = lastSlot > 0 ? Math.min(tol * 2, (2 * tol * steps) / lastSlot) : tol;
    if (Math.abs(elapsed - steps * period) > Math.min(tol + known, 0.35 * period)) continue;
    hits++;
    lastSlot += steps;
    lastHit = times[i]!;
    hitTimes.push(lastHit);
    hitSlots.push(lastSlot);
    if (hits >= 4) {
      const fit = fitLine(hitSlots, hitTimes);
      if (fit !== null) {
        period = fit.slope;
        lastHit = fit.intercept + fit.slope * lastSlot;
      }
    } else period = (lastHit - times[anchor]!) / lastSlot;
  }
  if (hits < LOCK_LEAST || period < timing.leastPeriodS) return null;
  const through = times[times.length - 1]!;
  const lost = overlapOf(timing.gaps, times[anchor]!, through);
  slots = Math.max(lastSlot + 1, Math.round((through - times[anchor]! - lost) / period) + 1);
  const hitRate = hits / slots;
  const density = times.length / Math.max(through - times[anchor]!, period);
  const chance = 1 - Math.exp(-density * Math.min(2 * tol, 0.7 * period));
  const expected = slots * Math.min(0.98, chance);
  const z = (hits - expected) / Math.sqrt(slots * Math.min(0.98, chance) * Math.max(0.02, 1 - chance));
  const rms = residualRms(hitSlots, hitTimes);
  const sparse = hitRate < 0.5;
  if (hitRate < LEAST_HIT_RATE || (sparse && hits < 2 * LOCK_LEAST) || z < (sparse ? 6 : 4)) return null;
  if (rms > 0.75 * Math.max(tol, 1e-9)) return null;
  return { score: hits * hitRate, hitRate, periodS: period };
}

function residualRms(slots: readonly number[], times: readonly number[]): number {
  return fitLine(slots, times)?.residualDeviation ?? Infinity;
}

interface Followed {
  readonly members: Int32Array;
  /** Position of each member in `index`. */
  readonly places: Int32Array;
  readonly slots: Float64Array;
  readonly periodS: number;
  /** Position in `index` where the search goes on. */
  readonly next: number;
}

const REFIT = 64;

/** Follows a locked train forward; its clock is refitted as it goes, so slow drift is followed too. */
function follow(at: Float64Array, index: Int32Array, lock: Lock, timing: Timing): Followed {
  const clock = new TrackedClock(lock.anchorS, lock.periodS);
  const members: number[] = [index[lock.from]!];
  const places: number[] = [lock.from];
  const slots: number[] = [0];
  const h = Math.min(0.98, Math.max(0.05, lock.hitRate));
  const mostMisses = Math.max(4, Math.ceil(Math.log(1e-4) / Math.log(1 - h)));
  let p = lock.from + 1;
  let next = lock.from + 1;
  for (; p < index.length; p++) {
    const time = at[index[p]!]!;
    const elapsed = time - clock.lastS;
    const missed = (elapsed - overlapOf(timing.gaps, clock.lastS, time)) / clock.periodS;
    if (missed > mostMisses + 1) break;
    const steps = Math.round(elapsed / clock.periodS);
    if (steps < 1) continue;
    const slack = clock.slack(steps, timing.toleranceS);
    if (slack > 0.45 * clock.periodS) break;
    const off = Math.abs(elapsed - steps * clock.periodS);
    if (off > slack) continue;
    clock.hit(steps, time);
    members.push(index[p]!);
    places.push(p);
    slots.push(clock.slot);
    next = p + 1;
  }
  return {
    members: Int32Array.from(members),
    places: Int32Array.from(places),
    slots: Float64Array.from(slots),
    periodS: clock.periodS,
    next,
  };
}

/** A clock fitted to the last pulses; `lastS` is the fitted, not the observed, time of the last one. */
class TrackedClock {
  slot = 0;
  lastS: number;
  private readonly slots: number[] = [0];
  private readonly times: number[];

  constructor(
    anchorS: number,
    public periodS: number,
  ) {
    this.lastS = anchorS;
    this.times = [anchorS];
  }

  /** How far off a pulse `steps` periods on may be. */
  slack(steps: number, toleranceS: number): number {
    const known = Math.max(1, this.slots[this.slots.length - 1]! - this.slots[0]!);
    const far = (toleranceS * Math.max(0, steps - 1)) / known;
    const loose = this.slots.length < 16 ? 1.3 : 1.05;
    return Math.min(loose * toleranceS + far, Math.max(0.45 * this.periodS, far));
  }

  hit(steps: number, time: number): void {
    this.slot += steps;
    this.slots.push(this.slot);
    this.times.push(time);
    const n = this.slots.length;
    if (n < 4) {
      this.lastS = time;
      if (n > 2) this.periodS = (time - this.times[0]!) / this.slot;
      return;
    }
    if (n > 2 * REFIT) {
      this.slots.splice(0, n - REFIT);
      this.times.splice(0, n - REFIT);
    }
    if (n < REFIT || n % 8 === 0) {
      const fit = fitLine(this.slots, this.times)!;
      this.periodS = fit.slope;
      this.lastS = fit.intercept + fit.slope * this.slot;
    } else this.lastS += steps * this.periodS;
  }
}

/** A change of rhythm has to last for this many hits and be this large to end a train. */
const LEAST_CHANGED = 5;
const CHANGED_RATE = 1.3;

/**
 * A train that stretches to a whole multiple of its period (or to one that shares a multiple with it) keeps
 * hitting the old clock, only less often: the train ends where the usual number of old periods between hits
 * changes for good. Returns how many of the hits belong to it.
 */
function hitsBeforeChange(slots: Float64Array): number {
  const n = slots.length;
  const steps = new Float64Array(n - 1);
  for (let i = 1; i < n; i++) steps[i - 1] = slots[i]! - slots[i - 1]!;
  const middle = median(steps);
  const spread = 1.4826 * median(steps.map((s) => Math.abs(s - middle)));
  const changes = changePointsOfLongSeries(steps, new Float64Array(n - 1).fill(1), Math.max(0.2, spread));
  const edges = [...changes, n - 1];
  const rate = (a: number, b: number): number => (slots[b]! - slots[a]!) / (b - a);
  const first = rate(0, edges[0]!);
  for (let j = 0; j + 1 < edges.length; j++) {
    if (edges[j + 1]! - edges[j]! < LEAST_CHANGED) continue;
    const ratio = rate(edges[j]!, edges[j + 1]!) / first;
    if (ratio > CHANGED_RATE || ratio < 1 / CHANGED_RATE) return edges[j]! + 1;
  }
  return n;
}

/** The largest m of which nearly all steps between the hits [a, b] are multiples. */
function commonMultiple(slots: Float64Array, a: number, b: number): number {
  let most = Infinity;
  for (let i = a; i < b; i++) most = Math.min(most, slots[i + 1]! - slots[i]!);
  for (let m = Math.min(12, Math.max(1, 2 * most)); m > 1; m--) {
    let fits = 0;
    for (let i = a; i < b; i++) if ((slots[i + 1]! - slots[i]!) % m === 0) fits++;
    if (fits >= 0.9 * (b - a)) return m;
  }
  return 1;
}

function toStretch(at: Float64Array, f: Followed, hits: number): Stretch | null {
  if (hits < LOCK_LEAST) return null;
  const multiple = commonMultiple(f.slots, 0, hits - 1);
  const members: number[] = [];
  const slots: number[] = [];
  for (let i = 0; i < hits; i++) {
    const s = f.slots[i]!;
    if (s % multiple !== 0) continue;
    members.push(f.members[i]!);
    slots.push(s / multiple);
  }
  const times = members.map((i) => at[i]!);
  const fit = fitLine(slots, times);
  if (fit === null) return null;
  const lastSlot = slots[slots.length - 1]!;
  return {
    firstS: fit.intercept,
    lastS: fit.intercept + fit.slope * lastSlot,
    periodS: fit.slope,
    periodU: periodUncertainty(slots, times, fit.intercept, fit.slope, fit.slopeError),
    pulses: lastSlot + 1,
    members: Int32Array.from(members),
    slots: Float64Array.from(slots),
  };
}

/**
 * Standard uncertainty of a fitted period. White timing errors give the regression's own standard error
 * (12 s^2 / (N (N^2 - 1)) for a full train). Where every period restarts from the last pulse the error walks,
 * and the variance is 6/5 of the step variance over N: estimated from how the residuals spread with distance.
 */
function periodUncertainty(
  slots: readonly number[],
  times: readonly number[],
  intercept: number,
  slope: number,
  whiteError: number,
): number {
  const n = slots.length;
  const residual = times.map((t, i) => t - intercept - slope * slots[i]!);
  const near = meanSquareStep(residual, 1);
  const lag = Math.max(2, n >> 3);
  const far = meanSquareStep(residual, lag);
  const span = (slots[n - 1]! / Math.max(1, n - 1)) * lag;
  const walk = Math.max(0, far - near) / span;
  return Math.hypot(whiteError, Math.sqrt((1.2 * walk) / Math.max(1, slots[n - 1]!)), 1e-9 * slope);
}

function meanSquareStep(residual: readonly number[], lag: number): number {
  let sum = 0;
  let n = 0;
  for (let i = lag; i < residual.length; i++) {
    sum += (residual[i]! - residual[i - lag]!) ** 2;
    n++;
  }
  return n === 0 ? 0 : sum / n;
}

/** Joins stretches, on either side of a gap or of a missed lock, that keep the same period and beat. */
function joinAcrossGaps(found: readonly Stretch[], timing: Timing): Stretch[] {
  const out: Stretch[] = [];
  for (const next of [...found].sort((a, b) => a.firstS - b.firstS)) {
    const k = out.findLastIndex(
      (s) => s.lastS < next.firstS + next.periodS / 2 && sameTrain(s, next, timing),
    );
    if (k < 0) out.push(next);
    else out[k] = joined(out[k]!, next);
  }
  return out;
}

function joined(a: Stretch, b: Stretch): Stretch {
  const wa = 1 / a.periodU ** 2;
  const wb = 1 / b.periodU ** 2;
  let periodS = (a.periodS * wa + b.periodS * wb) / (wa + wb);
  let periodU = 1 / Math.sqrt(wa + wb);
  const jump = Math.max(1, Math.round((b.firstS - a.lastS) / periodS));
  const offset = a.pulses - 1 + jump;
  const slots = offset + b.pulses - 1;
  // Where the count across the gap is beyond doubt, the whole span times the train.
  const doubt = jump * Math.hypot(a.periodU, b.periodU);
  if (doubt < 0.1 * periodS) {
    const span = (b.lastS - a.firstS) / slots;
    const spanU = Math.hypot(a.periodU * a.pulses, b.periodU * b.pulses) / slots;
    if (spanU < periodU) {
      periodS = span;
      periodU = spanU;
    }
  }
  return {
    firstS: a.firstS,
    lastS: b.lastS,
    periodS,
    periodU,
    pulses: slots + 1,
    members: Int32Array.from([...a.members, ...b.members]),
    slots: Float64Array.from([...a.slots, ...b.slots.map((s) => s + offset)]),
  };
}

function sameTrain(a: Stretch, b: Stretch, timing: Timing): boolean {
  const between = b.firstS - a.lastS;
  const silent = between - overlapOf(timing.gaps, a.lastS, b.firstS);
  const apart = Math.abs(a.periodS - b.periodS);
  if (silent > Math.max(30 * a.periodS, 0.02 * (b.lastS - a.firstS))) return false;
  if (apart > 4 * Math.hypot(a.periodU, b.periodU) + 2e-4 * a.periodS) return false;
  const beats = between / a.periodS;
  const off = Math.abs(beats - Math.round(beats)) * a.periodS;
  const doubt =
    Math.max(1, beats) * (Math.hypot(a.periodU, b.periodU) + 2e-4 * a.periodS) + timing.toleranceS;
  return between > silent || off <= 2 * doubt;
}
