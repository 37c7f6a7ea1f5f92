import { lowerBound, mergeSpans, type Conditioned, type Span } from './condition.ts';
import type { MeterErrors } from './dc.ts';
import { measureDraw, type Draw, type Share } from './draw.ts';
import { findExcursions, type Excursions } from './excursions.ts';
import type { Accuracy } from './input.ts';
import { findLevels } from './levels.ts';
import { measureRegime, type MeasuredRegime } from './regimes.ts';
import { findSleep, referenceFloor, type Sleep } from './sleep.ts';
import { findTrains, type Timing } from './trains.ts';
import { isPulse, measureRaised, type Raised } from './wake-ups.ts';
import { cutWindows, type Windows } from './windows.ts';

/** The stages on a current channel, composed. Current here is positive when it leaves the battery. */

export interface CurrentStory {
  readonly conditioned: Conditioned;
  readonly windows: Windows;
  readonly sleep: Sleep;
  readonly reference: Float64Array;
  readonly excursions: Excursions;
  readonly regimes: readonly MeasuredRegime[];
  readonly wakeUps: readonly Raised[];
  readonly draw: Draw;
  readonly meter: MeterErrors;
}

export function analyseCurrent(c: Conditioned, accuracy: Accuracy | null, endS: number): CurrentStory {
  const windows = cutWindows(c);
  const levels = findLevels(c, windows);
  const sleep = findSleep(c, levels);
  const reference = referenceFloor(windows, levels.levels, sleep);
  const excursions = findExcursions(c, windows, levels.levels, reference);
  const meter: MeterErrors = { accuracy, resolution: c.resolution, noise: windows.noise };
  const floorAt = (atS: number): number => {
    const k = Math.min(windows.count - 1, Math.max(0, lowerBound(windows.startS, atS) - 1));
    return reference[k] ?? 0;
  };
  const lowestFloor = (fromS: number, toS: number): number => {
    const first = Math.max(0, lowerBound(windows.startS, fromS) - 1);
    let low = Infinity;
    for (let k = first; k < windows.count && windows.startS[k]! < toS; k++)
      low = Math.min(low, reference[k]!);
    return low;
  };

  const pulses = pulsesOf(
    c,
    excursions,
    levels.levels.map((l) => l.from),
  );
  const stretches = findTrains(
    {
      count: pulses.length,
      at: Float64Array.from(pulses, (i) => excursions.at[i]!),
      charge: Float64Array.from(pulses, (i) => excursions.charge[i]!),
    },
    timingOf(c, endS, longSpans(c, excursions)),
  );
  const wakeUps = measureRaised(c, excursions, (i) => floorAt(c.t[i]!), sleep.asleepFromSample);
  const regimes = stretches.map((s) =>
    measureRegime(c, excursions, pulses, s, { at: floorAt, lowest: lowestFloor }, wakeUps, meter),
  );
  return {
    conditioned: c,
    windows,
    sleep,
    reference,
    excursions,
    regimes,
    wakeUps: wakeUps.map((w) => withoutPolling(w, regimes)),
    draw: measureDraw(c, sleep.asleepFromSample, sharesOf(excursions, pulses, regimes), meter, endS),
    meter,
  };
}

/** What trains are timed against; under a long excursion pulses are hidden, as they are in a gap. */
function timingOf(c: Conditioned, endS: number, hidden: readonly Span[]): Timing {
  const interval = c.intervalS ?? 1;
  return {
    toleranceS: 0.55 * interval + 0.002,
    leastPeriodS: 1.9 * interval,
    gaps: mergeSpans([...c.gaps, ...hidden]),
    endS,
  };
}

function longSpans(c: Conditioned, x: Excursions): Span[] {
  const out: Span[] = [];
  for (let i = 0; i < x.count; i++)
    if (!isPulse(c, x, i)) out.push({ startS: c.t[x.first[i]!]!, endS: c.t[x.last[i]!]! });
  return out;
}

/** Short excursions that no shut-down step explains. */
function pulsesOf(c: Conditioned, x: Excursions, steps: readonly number[]): Int32Array {
  const out: number[] = [];
  let next = 0;
  for (let i = 0; i < x.count; i++) {
    while (next < steps.length && steps[next]! < x.first[i]! - 1) next++;
    const atStep = next < steps.length && steps[next]! > 0 && steps[next]! <= x.last[i]! + 1;
    if (!atStep && isPulse(c, x, i)) out.push(i);
  }
  return Int32Array.from(out);
}

/** Polling goes on under a wake-up: its share of the charge belongs to the polling. */
function withoutPolling(w: Raised, regimes: readonly MeasuredRegime[]): Raised {
  let charge = w.charge;
  for (const r of regimes) {
    const from = Math.max(w.startS, r.stretch.firstS);
    const to = Math.min(w.startS + w.durationS, r.stretch.lastS);
    charge -= Math.max(0, to - from) * r.averageA;
  }
  return { ...w, charge };
}

function sharesOf(x: Excursions, pulses: Int32Array, regimes: readonly MeasuredRegime[]): Share {
  const kind = new Uint8Array(x.count).fill(1);
  for (const r of regimes) for (const i of r.stretch.members) kind[pulses[i]!] = 0;
  return { first: x.first, last: x.last, charge: x.charge, kind };
}
