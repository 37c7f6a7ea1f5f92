import { combine, figure } from './accuracy.ts';
import { lowerBound, overlapOf, type Conditioned, type Span } from './condition.ts';
import { meterUncertainty, type MeterErrors } from './dc.ts';
import type { Excursions } from './excursions.ts';
import type { Estimate } from '../messages/findings.ts';
import type { Pulses } from './pulses.ts';
import type { MeasuredRegime } from './regimes.ts';
import type { Sleep } from './sleep.ts';
import { sums, sumsAround, type Sums } from './sums.ts';
import type { Raised } from './wake-ups.ts';

/** Stage 10: averages and charge, and what they are made of. */

export interface Draw {
  readonly averageAfterSleep: Estimate;
  readonly averageLastHour: Estimate;
  readonly totalCharge: Estimate;
  readonly baseline: Estimate;
  readonly budget: {
    readonly baselineA: number;
    readonly pollingA: number;
    readonly wakeUpsA: number;
  } | null;
}

const HOUR = 3600;
/** Relative standard uncertainty of the charge of wake-ups, from what runs on under them. */
const WAKE_UPS_U = 0.015;

export function measureDraw(
  c: Conditioned,
  sleep: Sleep,
  x: Excursions,
  parts: {
    readonly regimes: readonly MeasuredRegime[];
    readonly wakeUps: readonly Raised[];
    readonly pulses: Pulses;
  },
  meter: MeterErrors,
  { fromS, toS: endS }: { readonly fromS: number; readonly toS: number },
): Draw {
  const { t, y } = c;
  const n = y.length;
  const from = sleep.asleepFromSample;
  const { all: asleep, quiet } = sumsAround(y, from, n, x);
  const readings = n - from;
  // Single readings that the radio lost leave no gap, and what they would have shown passed all the same.
  const seenS = endS - sleep.asleepFromS - overlapOf(c.gaps, sleep.asleepFromS, endS);
  const asleepS = readings === 0 ? 1e-9 : Math.max(seenS, c.intervalS ?? 0, 1e-9);
  const polling = pollingAverage(parts.regimes, sleep.asleepFromS, endS, c.gaps);
  // Folding counts every pulse of its trains, those that happened to stand out singly included.
  const folded = parts.regimes.some((r) => r.members.length === 0);
  const stray = folded ? 0 : strayCharge(parts.regimes, parts.pulses, from);
  const wakeUps = (parts.wakeUps.reduce((sum, w) => sum + w.charge, 0) + stray) / asleepS;
  // Where pulses hide in the noise, or no reading is free of them, the floor is what they leave of the average.
  const hides = parts.regimes.some((r) => r.members.length === 0 && r.topA < x.threshold);
  const rest = hides || quiet.count < 0.05 * readings;
  const baseline = rest ? asleep.mean - polling.value - wakeUps : quiet.mean;
  const baselineNoise = rest
    ? combine(polling.u, WAKE_UPS_U * wakeUps, meter.noise / Math.sqrt(Math.max(1, readings)))
    : quiet.deviation / Math.sqrt(quiet.count);
  // Pulses that never show singly may hide in the floor: then it is not known how much of it is steady.
  const bare = parts.regimes.every((r) => r.floorIsBare);
  const edge = edgeUncertainty(c, sleep, parts.regimes) / asleepS;
  const withGaps = fillGaps(c, asleep, sleep, parts.regimes, quiet.mean, endS);
  const filled = { ...withGaps, unknown: combine(withGaps.unknown, polling.unseenU) };
  const hourFrom = lowerBound(t, endS - HOUR);
  const hasHour = n > 0 && endS - t[0]! >= 0.98 * HOUR && n - hourFrom > 10;
  return {
    averageAfterSleep:
      readings > 0 ? meanFigure(filled, readings, meter, combine(edge, filled.unknown)) : null,
    averageLastHour: hasHour
      ? meanFigure(
          sums(y, hourFrom, n),
          n - hourFrom,
          meter,
          combine((edge * asleepS) / HOUR, pollingAverage(parts.regimes, endS - HOUR, endS, c.gaps).unseenU),
        )
      : null,
    totalCharge: totalCharge(c, meter, filled, from, { fromS, endS }),
    baseline:
      readings > 0 && bare ? figure(baseline, baselineNoise, meterUncertainty(baseline, meter)) : null,
    budget: readings > 0 && bare ? { baselineA: baseline, pollingA: polling.value, wakeUpsA: wakeUps } : null,
  };
}

interface Filled extends Sums {
  /** Standard uncertainty of the mean from not knowing what passed in the gaps and between apertures. */
  readonly unknown: number;
}

/**
 * The mean over the sleeping time with its gaps. Nothing was measured there, so the floor and whatever trains
 * run across a gap stand in for it; what else may have happened is allowed for by the mean of what did.
 */
function fillGaps(
  c: Conditioned,
  seen: Sums,
  sleep: Sleep,
  regimes: readonly MeasuredRegime[],
  floor: number,
  endS: number,
): Filled {
  const spanS = Math.max(endS - sleep.asleepFromS, 1e-9);
  let lostS = 0;
  let standIn = 0;
  for (const g of c.gaps) {
    const fromS = Math.max(g.startS, sleep.asleepFromS);
    const s = Math.min(g.endS, endS) - fromS;
    if (s <= 0) continue;
    lostS += s;
    standIn += s * (floor + pollingAverage(regimes, fromS, fromS + s, []).value);
  }
  if (lostS === 0) return { ...seen, unknown: 0 };
  const share = Math.min(1, lostS / spanS);
  const mean = (1 - share) * seen.mean + standIn / spanS;
  const usual = standIn / lostS;
  return {
    ...seen,
    mean,
    unknown: share * Math.max(0.01 * Math.abs(usual), Math.abs(seen.mean - usual) / 2),
  };
}

/** The regimes' averages, weighted by how much of a time outside `gaps` each lasted. */
function pollingAverage(
  regimes: readonly MeasuredRegime[],
  fromS: number,
  endS: number,
  gaps: readonly Span[],
): { value: number; u: number; unseenU: number } {
  const outside = (a: number, b: number): number => Math.max(0, b - a - overlapOf(gaps, a, b));
  const all = Math.max(outside(fromS, endS), 1e-9);
  let value = 0;
  let square = 0;
  let unseen = 0;
  for (const r of regimes) {
    const { firstS, lastS, periodS } = r.stretch;
    const from = Math.max(fromS, firstS - periodS / 2);
    const share = outside(from, Math.max(from, Math.min(endS, lastS + periodS / 2)));
    value += (share * r.averageA) / all;
    square += ((share * r.averageU) / all) ** 2;
    unseen += ((share * r.unseenU) / all) ** 2;
  }
  return { value, u: Math.sqrt(square), unseenU: Math.sqrt(unseen) };
}

/** Short pulses that belong to no train. */
function strayCharge(regimes: readonly MeasuredRegime[], pulses: Pulses, fromSample: number): number {
  const stray = new Uint8Array(pulses.count).fill(1);
  for (const r of regimes) for (const i of r.members) stray[i] = 0;
  let charge = 0;
  for (let i = 0; i < pulses.count; i++)
    if (stray[i] === 1 && pulses.first[i]! >= fromSample) charge += pulses.charge[i]!;
  return charge;
}

/** Charge that may fall on either side of the moment of sleep and of the end: part of a reading and a pulse. */
function edgeUncertainty(c: Conditioned, sleep: Sleep, regimes: readonly MeasuredRegime[]): number {
  const last = sleep.timeToSleepS === null ? undefined : sleep.steps[sleep.settledFrom - 1];
  const step = last === undefined ? 0 : Math.abs(last.fromA - last.toA);
  const pulse = regimes.reduce((most, r) => Math.max(most, r.averageA * r.stretch.periodS), 0);
  return combine((step * (c.intervalS ?? 0)) / Math.sqrt(12), pulse / Math.sqrt(6));
}

/** A mean of readings: each reading is an exact integral, so only noise, not the pulses, scatters it. */
function meanFigure(s: Sums, n: number, meter: MeterErrors, edge: number): Estimate {
  return figure(s.mean, meter.noise / Math.sqrt(n), edge, meterUncertainty(s.mean, meter));
}

/** The noise is that of the readings under the pulses, clipped, so on the low side. */
const NOISE_MARGIN = 1.2;

/** Charge over the whole recording, the sleeping part with its gaps filled. */
function totalCharge(
  c: Conditioned,
  meter: MeterErrors,
  asleep: Filled,
  asleepFromSample: number,
  { fromS, endS }: { readonly fromS: number; readonly endS: number },
): Estimate {
  const { t, y } = c;
  const n = y.length;
  if (n < 2) return null;
  const interval = c.intervalS ?? 0;
  const startS = Math.min(t[0]! - interval, fromS);
  const awake = sums(y, 0, asleepFromSample);
  const border = asleepFromSample < n ? t[asleepFromSample]! - interval : t[n - 1]!;
  const awakeS = asleepFromSample > 0 ? Math.max(0, border - startS) : 0;
  const asleepS = asleepFromSample < n ? Math.max(0, Math.max(endS, t[n - 1]!) - (startS + awakeS)) : 0;
  const charge = awake.mean * awakeS + asleep.mean * asleepS;
  const spanS = awakeS + asleepS;
  const lostAwakeS = overlapOf(c.gaps, startS, startS + awakeS);
  // What passed before the first reading and after the last one: taken at the mean, but a pulse may have fallen there,
  // and the car may have drawn what the first reading shows.
  const head = Math.max(0, t[0]! - interval - startS);
  const tail = Math.max(0, endS - t[n - 1]!);
  const first = awakeS > 0 ? awake : asleep;
  const scatter = asleepFromSample < n ? asleep.deviation : awake.deviation;
  // The draw falls while the car shuts down, so a gap there may hide up to its spread.
  return figure(
    charge,
    spanS * meterUncertainty(charge / Math.max(spanS, 1e-9), meter),
    (NOISE_MARGIN * meter.noise * spanS) / Math.sqrt(n),
    asleepS * asleep.unknown,
    lostAwakeS * awake.deviation,
    scatter * Math.sqrt(interval * (head + tail)),
    head * Math.abs(y[0]! - first.mean),
  );
}
