import { changePointsOfLongSeries } from './change-points.ts';
import type { Conditioned } from './condition.ts';
import { median, quantile } from './statistics.ts';
import type { Windows } from './windows.ts';

/** Stage 3: stretches of constant floor, and the sharp steps between them to the reading. */

export interface Level {
  /** First sample, and one past the last. */
  readonly from: number;
  readonly to: number;
  readonly startS: number;
  readonly endS: number;
  /** Floor close to the stretch's two ends, so that a slow drift within it is not taken for a step. */
  readonly startLevel: number;
  readonly endLevel: number;
  /** Windows that lie wholly inside; may be empty for a very short stretch. */
  readonly firstWindow: number;
  readonly lastWindow: number;
}

export interface Levels {
  readonly levels: readonly Level[];
  /** Noise of one window's floor. */
  readonly floorNoise: number;
  /** The least step that was looked for, in the channel's unit, near a level. */
  readonly leastStep: (near: number) => number;
}

/** Windows on either side of a step from which its size is taken. */
const SIDE = 6;

export function findLevels(c: Conditioned, w: Windows): Levels {
  const floorNoise = noiseOfFloors(c, w);
  const leastStep = (near: number): number =>
    Math.max(5 * floorNoise, 0.75 * (c.resolution ?? 0), 0.03 * Math.abs(near));
  if (w.count === 0) return { levels: [], floorNoise, leastStep };
  const weights = Float64Array.from({ length: w.count }, () => 1);
  let changes = changePointsOfLongSeries(w.floor, weights, floorNoise);
  // Steps that a slow drift imitates are small next to their own neighbourhood: drop the smallest first.
  for (;;) {
    const edges = [0, ...changes, w.count];
    let worst = -1;
    let worstRatio = 1;
    for (let j = 0; j < changes.length; j++) {
      const before = sideLevel(w, edges[j]!, edges[j + 1]!, 'end');
      const after = sideLevel(w, edges[j + 1]!, edges[j + 2]!, 'start');
      const ratio = Math.abs(after - before) / leastStep(Math.min(Math.abs(before), Math.abs(after)));
      if (ratio < worstRatio) {
        worst = j;
        worstRatio = ratio;
      }
    }
    if (worst < 0) break;
    changes = changes.filter((_, j) => j !== worst);
  }
  changes = withoutCutWindows(c, w, changes, leastStep);
  return { levels: toLevels(c, w, changes), floorNoise, leastStep };
}

/**
 * A window that a step cuts in two may have a floor between the levels on either side, where pulses fill what is
 * left of it; it is no level of its own when its readings lie on the one before the step and on the other after it.
 */
function withoutCutWindows(
  c: Conditioned,
  w: Windows,
  changes: readonly number[],
  leastStep: (near: number) => number,
): number[] {
  const edges = [0, ...changes, w.count];
  return changes.filter((k, j) => {
    const start = edges[j]!;
    if (k - start !== 1 || start === 0 || j === 0) return true;
    const before = sideLevel(w, edges[j - 1]!, start, 'end');
    const after = sideLevel(w, k, edges[j + 2]!, 'start');
    const [from, to] = [w.from[start]!, w.from[k]!];
    const at = stepSample(c.y, from, to, before, after);
    const within = leastStep(Math.min(Math.abs(before), Math.abs(after)));
    const liesOn = (level: number, a: number, b: number): boolean =>
      b - a < LEAST_SIDE || Math.abs(quantile(c.y.subarray(a, b), LOW) - level) < within;
    return !(liesOn(before, from, at) && liesOn(after, at + 1, to));
  });
}

/** Readings, and their low quantile: the floor under pulses. */
const LEAST_SIDE = 4;
const LOW = 0.2;

function noiseOfFloors(c: Conditioned, w: Windows): number {
  const differences: number[] = [];
  const step = Math.max(1, Math.floor(w.count / 4000));
  for (let k = 1; k < w.count; k += step) differences.push(Math.abs(w.floor[k]! - w.floor[k - 1]!));
  const perWindow = w.count === 0 ? 1 : c.t.length / w.count;
  const fromReadings = w.noise / Math.sqrt(Math.max(1, perWindow / 2));
  const seen = differences.length === 0 ? 0 : (1.4826 / Math.SQRT2) * median(differences);
  return Math.max(seen, fromReadings, 0.02 * (c.resolution ?? 0));
}

/** Median floor of up to SIDE windows next to one end of the stretch [a, b), leaving out the one at the step. */
function sideLevel(w: Windows, a: number, b: number, side: 'start' | 'end'): number {
  const inset = b - a > 1 ? 1 : 0;
  const from = side === 'start' ? a + inset * (a > 0 ? 1 : 0) : Math.max(a, b - SIDE - inset);
  const to = side === 'start' ? Math.min(b, a + SIDE + inset) : b - inset * (b < w.count ? 1 : 0);
  return median(w.floor.subarray(from, Math.max(from + 1, to)));
}

function toLevels(c: Conditioned, w: Windows, changes: readonly number[]): Level[] {
  const edges = [0, ...changes, w.count];
  const samples: number[] = [0];
  for (let j = 0; j < changes.length; j++) {
    const before = sideLevel(w, edges[j]!, edges[j + 1]!, 'end');
    const after = sideLevel(w, edges[j + 1]!, edges[j + 2]!, 'start');
    const k = changes[j]!;
    const from = Math.max(samples[samples.length - 1]!, w.from[Math.max(0, k - 1)]!);
    samples.push(stepSample(c.y, from, w.from[Math.min(w.count, k + 1)]!, before, after));
  }
  samples.push(c.t.length);
  const levels: Level[] = [];
  for (let j = 0; j + 1 < edges.length; j++) {
    const from = samples[j]!;
    const to = samples[j + 1]!;
    if (to <= from) continue;
    let firstWindow = edges[j]!;
    while (firstWindow < edges[j + 1]! && w.from[firstWindow]! < from) firstWindow++;
    let lastWindow = edges[j + 1]! - 1;
    while (lastWindow >= firstWindow && w.from[lastWindow + 1]! > to) lastWindow--;
    levels.push({
      from,
      to,
      startS: from === 0 ? w.startS[0]! : betweenReadings(c, from),
      endS: to === c.t.length ? c.t[to - 1]! : betweenReadings(c, to),
      startLevel: sideLevel(w, edges[j]!, edges[j + 1]!, 'start'),
      endLevel: sideLevel(w, edges[j]!, edges[j + 1]!, 'end'),
      firstWindow,
      lastWindow,
    });
  }
  return levels;
}

/** The load changed while reading `i` was being taken or just before it. */
function betweenReadings(c: Conditioned, i: number): number {
  return c.t[i]! - Math.min((c.intervalS ?? 0) / 2, (c.t[i]! - c.t[i - 1]!) / 2);
}

/** Where in [a, b) the readings go over from one level to the other; distances are clipped against pulses. */
function stepSample(y: Float64Array, a: number, b: number, before: number, after: number): number {
  const clip = Math.abs(after - before);
  let cost = 0;
  for (let i = a; i < b; i++) cost += Math.min(clip, Math.abs(y[i]! - after));
  let lowest = cost;
  let at = a;
  for (let i = a; i < b; i++) {
    cost += Math.min(clip, Math.abs(y[i]! - before)) - Math.min(clip, Math.abs(y[i]! - after));
    if (cost < lowest) {
      lowest = cost;
      at = i + 1;
    }
  }
  return at;
}
