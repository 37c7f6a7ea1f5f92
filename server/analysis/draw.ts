import { combine, figure } from './accuracy.ts';
import { lowerBound, overlapOf, type Conditioned } from './condition.ts';
import { meterUncertainty, type MeterErrors } from './dc.ts';
import type { Estimate } from '../messages/findings.ts';

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

export interface Share {
  /** Sample ranges [first, last] that hold more than the floor. */
  readonly first: Int32Array;
  readonly last: Int32Array;
  /** Charge of each above the floor, coulombs. */
  readonly charge: Float64Array;
  /** 0 polling, 1 wake-up or anything else. */
  readonly kind: Uint8Array;
}

const HOUR = 3600;

export function measureDraw(
  c: Conditioned,
  asleepFromSample: number,
  shares: Share,
  meter: MeterErrors,
  endS: number,
): Draw {
  const { t, y } = c;
  const n = y.length;
  const interval = c.intervalS ?? 0;
  const asleep = sums(y, asleepFromSample, n);
  const quiet = quietMean(y, asleepFromSample, n, shares);
  const readings = n - asleepFromSample;
  const byKind = [0, 0];
  for (let i = 0; i < shares.first.length; i++)
    if (shares.first[i]! >= asleepFromSample)
      byKind[shares.kind[i]!]! += shares.charge[i]! / Math.max(interval * readings, 1e-300);
  const hourFrom = lowerBound(t, endS - HOUR);
  const hasHour = n > 0 && endS - t[0]! >= 0.98 * HOUR && n - hourFrom > 10;
  // Where pulses come so thick that no reading is free of them, the floor is what they leave of the average.
  const sparse = quiet.count < 0.05 * readings;
  const baseline = sparse ? asleep.mean - byKind[0]! - byKind[1]! : quiet.mean;
  const baselineNoise = sparse
    ? meter.noise / Math.sqrt(Math.max(1, readings))
    : quiet.deviation / Math.sqrt(quiet.count);
  return {
    averageAfterSleep: readings > 0 ? meanFigure(asleep, readings, meter) : null,
    averageLastHour: hasHour ? meanFigure(sums(y, hourFrom, n), n - hourFrom, meter) : null,
    totalCharge: totalCharge(c, meter, baseline, asleepFromSample, endS),
    baseline: readings > 0 ? figure(baseline, baselineNoise, meterUncertainty(baseline, meter)) : null,
    budget: readings > 0 ? { baselineA: baseline, pollingA: byKind[0]!, wakeUpsA: byKind[1]! } : null,
  };
}

interface Sums {
  readonly mean: number;
  readonly deviation: number;
}

function sums(y: Float64Array, from: number, to: number): Sums {
  const origin = y[from] ?? 0;
  let sum = 0;
  let squares = 0;
  for (let i = from; i < to; i++) {
    const d = y[i]! - origin;
    sum += d;
    squares += d * d;
  }
  const n = Math.max(1, to - from);
  const mean = sum / n;
  return { mean: origin + mean, deviation: Math.sqrt(Math.max(0, squares / n - mean * mean)) };
}

/** A mean of readings: each reading is an exact integral, so only noise, not the pulses, scatters it. */
function meanFigure(s: Sums, n: number, meter: MeterErrors): Estimate {
  return figure(s.mean, meter.noise / Math.sqrt(n), meterUncertainty(s.mean, meter));
}

/** Mean of the readings outside every excursion and its neighbours. */
function quietMean(
  y: Float64Array,
  from: number,
  to: number,
  shares: Share,
): { mean: number; deviation: number; count: number } {
  const origin = y[from] ?? 0;
  let sum = 0;
  let squares = 0;
  let count = 0;
  let next = 0;
  for (let i = from; i < to; i++) {
    while (next < shares.first.length && shares.last[next]! + 1 < i) next++;
    if (next < shares.first.length && shares.first[next]! - 1 <= i) {
      i = shares.last[next]! + 1;
      continue;
    }
    const d = y[i]! - origin;
    sum += d;
    squares += d * d;
    count++;
  }
  const mean = count === 0 ? 0 : sum / count;
  return {
    mean: origin + mean,
    deviation: count === 0 ? 0 : Math.sqrt(Math.max(0, squares / count - mean * mean)),
    count,
  };
}

/**
 * Charge over the whole recording. What passed in a gap was not measured: the mean of the readings on either
 * side stands in for it, and half their difference plus the floor itself widens the uncertainty.
 */
function totalCharge(
  c: Conditioned,
  meter: MeterErrors,
  floor: number,
  asleepFromSample: number,
  endS: number,
): Estimate {
  const { t, y } = c;
  const n = y.length;
  if (n < 2) return null;
  const interval = c.intervalS ?? 0;
  const startS = Math.min(t[0]! - interval, 0);
  const awake = sums(y, 0, asleepFromSample);
  const asleep = sums(y, asleepFromSample, n);
  const border = asleepFromSample < n ? t[asleepFromSample]! - interval : t[n - 1]!;
  const missing = (a: number, b: number): number => overlapOf(c.gaps, a, b);
  const awakeS = asleepFromSample > 0 ? Math.max(0, border - startS) : 0;
  const asleepS = Math.max(0, Math.max(endS, t[n - 1]!) - (startS + awakeS));
  const lost = missing(startS, endS);
  const charge = awake.mean * awakeS + asleep.mean * (asleepFromSample < n ? asleepS : 0);
  const unknown = lost * Math.max(Math.abs(asleep.mean - floor), 0.1 * Math.abs(asleep.mean));
  const spanS = awakeS + asleepS;
  return figure(
    charge,
    spanS * meterUncertainty(charge / Math.max(spanS, 1e-9), meter),
    (meter.noise * spanS) / Math.sqrt(n),
    combine(unknown / 2, 0),
  );
}
