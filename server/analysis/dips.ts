import type { Conditioned } from './condition.ts';
import type { MeterErrors, MeterOfChannel } from './dc.ts';
import { findExcursions, visibleThreshold } from './excursions.ts';
import { FloorOverTime, WindowFloor } from './floor.ts';
import { findLevels, type Level } from './levels.ts';
import { findPolling } from './polling.ts';
import type { MeasuredRegime } from './regimes.ts';
import { AWAKE_A, referenceFloor } from './sleep.ts';
import { median } from './statistics.ts';
import { cutWindows, type Windows } from './windows.ts';

/** Polling seen in the voltage alone: the drops that its pulses make over the source resistance. */

/** Highest source resistance of a healthy battery with its leads. */
const HIGHEST_OHM = 0.04;

/** A few dips may keep a rhythm by chance: a voltage has more causes than its load. */
const LEAST_DIPS = 50;

/**
 * The voltage's own steady drop cannot be seen, so what a faster train might hide in it is bounded by what a
 * sleeping car draws at most.
 */
class DropFloor extends FloorOverTime {
  override lowest(): number {
    return AWAKE_A * HIGHEST_OHM;
  }
}

/** Regimes in volts: heights and averages are drops, positive downwards. */
export function findDips(voltage: Conditioned, facts: MeterOfChannel): readonly MeasuredRegime[] {
  if (voltage.t.length < 2) return [];
  const middle = median(voltage.y);
  const c: Conditioned = { ...voltage, y: voltage.y.map((v) => middle - v) };
  const windows = cutWindows(c);
  const { levels } = findLevels(c, windows);
  // Every level has its own floor, smoothed: the surface charge decays under the dips.
  const reference = referenceFloor(windows, levels, {
    state: 'undetermined',
    timeToSleepS: null,
    steps: [],
    settledFrom: levels.length,
    kinds: levels.map(() => 'awake'),
    asleepFromS: 0,
    asleepFromSample: 0,
  });
  const flat: Conditioned = { ...c, y: flattened(c, windows, levels, reference) };
  const none = new Float64Array(windows.count);
  const threshold = visibleThreshold(c, windows.noise);
  const ground = new WindowFloor(windows, levels, none, c.t.length);
  const meter: MeterErrors = { ...facts, resolution: c.resolution, noise: windows.noise };
  return findPolling(flat, {
    excursions: findExcursions(flat, ground, threshold, 0, c.t.length),
    levels,
    threshold,
    floor: new DropFloor(windows, levels, none),
    meter,
  }).regimes.filter((r) => r.stretch.pulses >= LEAST_DIPS && !isFloors(r, windows));
}

/** A rhythm about as slow as the windows, which no single dip shows, may be what they make of a decaying charge. */
function isFloors(r: MeasuredRegime, { lengthS }: Windows): boolean {
  return r.members.length === 0 && r.stretch.periodS > lengthS / 2;
}

/**
 * Readings above a floor that runs in straight lines from window to window: under a steep decay of the surface
 * charge a floor in steps would give the windows' own beat.
 */
function flattened(
  c: Conditioned,
  w: Windows,
  levels: readonly Level[],
  reference: Float64Array,
): Float64Array {
  const y = Float64Array.from(c.y);
  const middle = (k: number): number => (w.startS[k]! + w.endS[k]!) / 2;
  for (const level of levels) {
    const last = Math.max(level.firstWindow, level.lastWindow);
    let k = Math.min(level.firstWindow, w.count - 1);
    for (let i = level.from; i < level.to; i++) {
      while (k + 1 < last && middle(k + 1) <= c.t[i]!) k++;
      const next = Math.min(k + 1, last, w.count - 1);
      const run = middle(next) - middle(k);
      const share = run > 0 ? (c.t[i]! - middle(k)) / run : 0;
      y[i] = y[i]! - reference[k]! - share * (reference[next]! - reference[k]!);
    }
  }
  return y;
}
