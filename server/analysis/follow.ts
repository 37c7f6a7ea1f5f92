import { changePointsOfLongSeries } from './change-points.ts';
import { overlapOf } from './condition.ts';
import { beatsUnseen, CHANGED_RATE, LEAST_CHANGED } from './dead-time.ts';
import { LOCK_WINDOW, type Lock } from './lock.ts';
import { PulseClock } from './pulse-clock.ts';
import { median } from './statistics.ts';
import type { PulseTimes, Timing } from './trains.ts';

/** Following a locked train pulse by pulse, and noticing where its rhythm changes. */

export interface Followed {
  readonly members: Int32Array;
  /** Position of each member in `index`. */
  readonly places: Int32Array;
  readonly slots: Float64Array;
}

/** Room for all pulses; made once, because a train is looked for many times. */
export function roomFor(pulses: number): Followed {
  return {
    members: new Int32Array(pulses),
    places: new Int32Array(pulses),
    slots: new Float64Array(pulses),
  };
}

export function follow(
  pulses: PulseTimes,
  index: Int32Array,
  lock: Lock,
  timing: Timing,
  { members, places, slots }: Followed,
): Followed {
  const clock = new PulseClock(lock.anchorS, lock.periodS, timing.toleranceS, lock.knownFor);
  members[0] = index[lock.from]!;
  places[0] = lock.from;
  slots[0] = 0;
  let hits = 1;
  const h = Math.min(0.98, Math.max(0.05, lock.hitRate));
  const unseen = beatsUnseen({ periodS: lock.periodS, pulses: LOCK_WINDOW }, timing);
  const mostMisses = Math.max(4, Math.ceil(Math.log(1e-4) / Math.log(1 - h)), unseen);
  for (let p = lock.from + 1; p < index.length; p++) {
    const i = index[p]!;
    const time = pulses.at[i]!;
    const elapsed = time - clock.lastS;
    if (hits > 4 && !clock.knows(elapsed / clock.periodS)) break;
    const mostS = (mostMisses + 1) * clock.periodS;
    if (elapsed > mostS && elapsed - overlapOf(timing.gaps, clock.lastS, time) > mostS) break;
    const steps = clock.stepsTo(time, pulses.blur[i]!);
    if (steps === 0) continue;
    clock.hit(steps, time);
    members[hits] = i;
    places[hits] = p;
    slots[hits++] = clock.slot;
  }
  return {
    members: members.slice(0, hits),
    places: places.slice(0, hits),
    slots: slots.slice(0, hits),
  };
}

/**
 * A train that stretches to a whole multiple of its period (or to one that shares a multiple with it) keeps
 * hitting the old clock, only less often: the train ends where the usual number of old periods between hits
 * changes for good. Returns how many of the hits belong to it.
 */
export function hitsBeforeChange(slots: Float64Array): number {
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

/**
 * Hits that a train owns for sure: the run in which hits outweigh misses most. At its ends a train may have
 * picked up pulses of what came before or after that happened to fall near its beat. Returns [from, to).
 */
export function surestRun(slots: Float64Array, hits: number): { from: number; to: number } {
  const rate = hits / (slots[hits - 1]! + 1);
  const weight = 1 / (2 * Math.max(0.25, (1 - rate) / rate));
  let best = { from: 0, to: 1 };
  let most = 0;
  let sum = 0;
  let from = 0;
  for (let i = 1; i < hits; i++) {
    sum += 1 - weight * (slots[i]! - slots[i - 1]! - 1);
    if (sum < 0) {
      sum = 0;
      from = i;
    } else if (sum > most) {
      most = sum;
      best = { from, to: i + 1 };
    }
  }
  return best;
}
