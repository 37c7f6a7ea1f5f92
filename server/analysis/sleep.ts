import type { Conditioned } from './condition.ts';
import type { Level, Levels } from './levels.ts';
import { median, quantile } from './statistics.ts';
import type { Windows } from './windows.ts';

/** Stage 4: which stretches are shutting down, which are settled, which are wake-ups; and the floor in each. */

export interface Sleep {
  readonly state: 'slept' | 'never-slept' | 'asleep-from-start' | 'undetermined';
  readonly timeToSleepS: number | null;
  readonly steps: readonly { readonly atS: number; readonly fromA: number; readonly toA: number }[];
  /** Index of the first settled level; the number of levels where there is none. */
  readonly settledFrom: number;
  readonly kinds: readonly ('awake' | 'settled' | 'raised')[];
  /** From here on the car sleeps (time and sample); the end of the recording where it does not. */
  readonly asleepFromS: number;
  readonly asleepFromSample: number;
}

/**
 * A sleeping car draws less than this, one that is kept awake more: between the highest published normal
 * key-off draw (85 mA) and the lowest published draw of a bus that is kept awake (200 mA).
 */
export const AWAKE_A = 0.13;
/** Published hold times reach an hour; before that a high draw does not prove that the car never sleeps. */
export const LONGEST_HOLD_S = 3600;
/** A floor this far below zero is charging (or a clamp that was not zeroed), not a deeper sleep. */
const CHARGING_A = 0.02;
/** A settled stretch shorter than this, at the end of a recording, does not prove sleep. */
const LEAST_SETTLED_S = 60;

export function findSleep(c: Conditioned, l: Levels): Sleep {
  const { levels } = l;
  const none = { settledFrom: levels.length, steps: [], kinds: levels.map(() => 'awake' as const) };
  const end = c.t[c.t.length - 1] ?? 0;
  if (levels.length === 0)
    return { ...none, state: 'undetermined', timeToSleepS: null, asleepFromS: end, asleepFromSample: 0 };
  const height = withoutUnseenFloors(c, stairHeights(l), l);
  const lowest = firstSettled(levels, height, l);
  const settled = afterLastingRise(levels, height, lowest, l);
  const span = end - levels[0]!.startS;
  const quiet = levels[settled]!;
  const settledLevel = quiet.startLevel;
  const settledSpan = levels
    .slice(settled)
    .filter((_, k) => height[settled + k]! <= height[settled]! + l.leastStep(settledLevel))
    .reduce((sum, x) => sum + x.endS - x.startS, 0);
  const steps = stepsUpTo(levels, settled);
  const proven = settledSpan >= Math.min(LEAST_SETTLED_S, span / 4);
  if (settledLevel > AWAKE_A || !proven) {
    const never = settledLevel > AWAKE_A && span >= LONGEST_HOLD_S;
    return {
      ...none,
      steps: stepsUpTo(levels, levels.length - 1),
      state: never ? 'never-slept' : 'undetermined',
      timeToSleepS: null,
      asleepFromS: end,
      asleepFromSample: c.t.length,
    };
  }
  const kinds = levels.map((_, k) =>
    k < settled ? 'awake' : height[k]! <= height[settled]! + l.leastStep(settledLevel) ? 'settled' : 'raised',
  );
  return {
    state: lowest === 0 ? 'asleep-from-start' : 'slept',
    timeToSleepS: lowest === 0 ? null : levels[lowest]!.startS,
    steps,
    settledFrom: settled,
    kinds,
    asleepFromS: levels[lowest]!.startS,
    asleepFromSample: levels[lowest]!.from,
  };
}

/**
 * Heights of the levels as the sum of the sharp steps, so that slow drift drops out. A level that comes back
 * to within a step of an earlier one, by that sum or by the readings themselves, is put at exactly that height,
 * so that errors do not add up.
 */
function stairHeights(l: Levels): number[] {
  const heights: number[] = [l.levels[0]!.startLevel];
  for (let k = 1; k < l.levels.length; k++) {
    const { startLevel } = l.levels[k]!;
    const raw = heights[k - 1]! + startLevel - l.levels[k - 1]!.endLevel;
    let snapped = raw;
    for (let j = k - 2; j >= Math.max(0, k - 8); j--)
      if (
        Math.min(Math.abs(heights[j]! - raw), Math.abs(l.levels[j]!.endLevel - startLevel)) < l.leastStep(0)
      ) {
        snapped = heights[j]!;
        break;
      }
    heights.push(snapped);
  }
  return heights;
}

/** The lowest readings of a level, above chance. */
const LOWEST = 0.1;

/**
 * A level too short for a window of its own has the height of the next one where its lowest readings are that low:
 * beside a step pulses may fill most of what a window holds of it, and what is left is taken for the floor.
 */
function withoutUnseenFloors(c: Conditioned, height: readonly number[], l: Levels): number[] {
  const out = [...height];
  for (let k = l.levels.length - 2; k >= 0; k--) {
    const { from, to, firstWindow, lastWindow } = l.levels[k]!;
    if (lastWindow >= firstWindow || to - from < 3) continue;
    const next = l.levels[k + 1]!.startLevel;
    const lowest = quantile(c.y.subarray(from + 1, to), LOWEST);
    if (Math.abs(lowest - next) <= l.leastStep(next)) out[k] = out[k + 1]!;
  }
  return out;
}

/** The first level that nothing sustained later undercuts. */
function firstSettled(levels: readonly Level[], height: readonly number[], l: Levels): number {
  let lowest = Infinity;
  let first = levels.length - 1;
  for (let k = levels.length - 1; k >= 0; k--) {
    const h = height[k]!;
    const charging = h < -Math.max(CHARGING_A, l.leastStep(0));
    const sustained =
      !charging && (levels[k]!.endS - levels[k]!.startS >= LEAST_SETTLED_S / 2 || levels.length === 1);
    if (charging) continue;
    if (
      h <= lowest + l.leastStep(Math.min(Math.abs(h), Math.abs(lowest))) &&
      (sustained || lowest === Infinity)
    )
      first = k;
    if (sustained) lowest = Math.min(lowest, h);
  }
  return first;
}

/**
 * Where the floor rises for good soon after it was lowest (fast polling that lifts every reading, say), the
 * car settles there: the level that holds for the larger part of what follows, if it is one of sleep.
 */
function afterLastingRise(
  levels: readonly Level[],
  height: readonly number[],
  lowest: number,
  l: Levels,
): number {
  const end = levels[levels.length - 1]!.endS;
  let floorAfter = Infinity;
  let settled = lowest;
  for (let k = levels.length - 1; k > lowest; k--) {
    if (levels[k]!.endS - levels[k]!.startS >= LEAST_SETTLED_S / 2)
      floorAfter = Math.min(floorAfter, height[k]!);
    const lasting = end - levels[k]!.startS > (end - levels[lowest]!.startS) / 2;
    const risen = floorAfter > height[lowest]! + l.leastStep(Math.abs(height[lowest]!));
    if (lasting && risen && floorAfter <= AWAKE_A) settled = k;
  }
  return settled;
}

function stepsUpTo(levels: readonly Level[], last: number): Sleep['steps'] {
  const steps = [];
  for (let k = 1; k <= last; k++)
    steps.push({ atS: levels[k]!.startS, fromA: levels[k - 1]!.endLevel, toA: levels[k]!.startLevel });
  return steps;
}

/** Floors of this many neighbouring windows are reduced to their median. */
const BLOCK = 16;

/**
 * The floor under each window that excursions are measured against: within a stretch that is shutting down
 * its own, smoothed; asleep, that of the settled windows, carried straight across what is raised.
 */
export function referenceFloor(w: Windows, levels: readonly Level[], sleep: Sleep): Float64Array {
  const reference = Float64Array.from(w.floor);
  const settled: number[] = [];
  for (let j = 0; j < levels.length; j++) {
    const windows = range(levels[j]!.firstWindow, levels[j]!.lastWindow);
    if (sleep.kinds[j] === 'settled') settled.push(...windows);
    else if (sleep.kinds[j] === 'awake') smooth(w, windows, reference, windows);
  }
  if (settled.length > 0) {
    const first = Math.min(...firstAndLast(settled));
    smooth(w, settled, reference, range(first, w.count - 1));
  }
  return reference;
}

function firstAndLast(x: readonly number[]): [number, number] {
  return [x[0]!, x[x.length - 1]!];
}

function range(first: number, last: number): number[] {
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => first + i);
}

/** Straight lines through the block medians of the floors of `from`, written to the windows `to`. */
function smooth(w: Windows, from: readonly number[], out: Float64Array, to: readonly number[]): void {
  if (from.length === 0) return;
  const at: number[] = [];
  const level: number[] = [];
  for (let i = 0; i < from.length; i += BLOCK) {
    const block = from.slice(i, Math.min(from.length, i + BLOCK));
    at.push((w.startS[block[0]!]! + w.endS[block[block.length - 1]!]!) / 2);
    level.push(median(block.map((k) => w.floor[k]!)));
  }
  let j = 0;
  for (const k of to) {
    const t = (w.startS[k]! + w.endS[k]!) / 2;
    while (j + 2 < at.length && at[j + 1]! < t) j++;
    if (at.length === 1 || t <= at[0]!) out[k] = level[0]!;
    else if (t >= at[at.length - 1]!) out[k] = level[level.length - 1]!;
    else out[k] = level[j]! + ((level[j + 1]! - level[j]!) * (t - at[j]!)) / (at[j + 1]! - at[j]!);
  }
}
