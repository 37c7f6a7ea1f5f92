import { figure, resolutionUncertainty, typeB } from '../analysis/accuracy.ts';
import { lowerBound } from '../analysis/condition.ts';
import { median, robustDeviation } from '../analysis/statistics.ts';
import type { Dip } from '../messages/attempts.ts';
import { durationText } from '../messages/figures.ts';

/** Live readings of one channel around a try: seconds from the recording's start, volts or amperes. */
export interface DipChannel {
  readonly t: Float64Array;
  readonly y: Float64Array;
  readonly resolution: number | null;
  readonly apertureS: number | null;
}

export interface DipInput {
  readonly voltage: DipChannel | null;
  readonly current: DipChannel | null;
  /** When the try was marked: after it happened. */
  readonly atS: number;
  /** When the try before was marked; null for the first. */
  readonly previousS: number | null;
}

/** A hand tries, looks and taps within so long; what happened earlier belongs to something else. */
export const LOOK_BACK_S = 12;
/** A tap may come a moment before the dip, where the bolt follows the handle. */
const LOOK_AHEAD_S = 1.5;
/** The voltage before the dip: so long, ending so long before the lowest reading. */
const REST_S = 8;
const REST_ENDS_S = 1.5;
const LEAST_REST = 3;
/** After so long without recovery something else draws. */
export const RECOVER_WITHIN_S = 20;
/** Locks and horns draw for a tenth of a second to a second; a slower meter averages their dip away. */
const FAST_S = 0.05;
/** A dip must stand out from the noise by so much. */
const STANDS_OUT = 4;

const NOTHING: Omit<Dip, 'notes'> = {
  restV: null,
  lowestV: null,
  depthV: null,
  recoveryS: null,
  peakA: null,
  sourceResistanceOhm: null,
};

/** Measures what the supply did around one try. Total: it never throws, and leaves out what is not there. */
export function measureDip({ voltage, current, atS, previousS }: DipInput): Dip {
  if (voltage === null) return { ...NOTHING, notes: ['No voltage was recorded.'] };
  const fromS = Math.max(atS - LOOK_BACK_S, previousS ?? -Infinity);
  const lowest = extreme(voltage, fromS, atS + LOOK_AHEAD_S, -1);
  if (lowest === null) return { ...NOTHING, notes: ['No voltage reading lies near this try.'] };
  const before = levelBefore(voltage, lowest.atS);
  if (before === null)
    return {
      ...NOTHING,
      lowestV: lowest.value,
      notes: ['Too few readings before this try for a rest voltage.'],
    };

  const notes: string[] = [];
  const intervalS = intervalAround(voltage, atS);
  const restV = figure(before.level, before.levelU, digitU(voltage));
  const depth = before.level - lowest.value;
  if (depth < STANDS_OUT * before.noise || depth < 1.5 * (voltage.resolution ?? 0) || depth <= 0) {
    notes.push('No dip stands out of the readings.');
    notes.push(...slowNote(voltage, intervalS));
    return { ...NOTHING, restV, lowestV: lowest.value, notes };
  }
  const recovered = recovery(voltage, lowest.atS, before.level - 0.1 * depth);
  if (recovered === null) notes.push('The voltage had not come back when the readings end.');
  notes.push(...slowNote(voltage, intervalS));
  const load = current === null ? null : loadAround(current, lowest.atS, previousS);
  return {
    restV,
    lowestV: lowest.value,
    depthV: figure(depth, before.levelU, before.noise, digitU(voltage) * Math.SQRT2),
    recoveryS: recovered === null ? null : figure(recovered, typeB(intervalS ?? 0)),
    peakA: load === null ? null : figure(load.peakA, load.noise, load.levelU),
    sourceResistanceOhm: load === null ? null : resistance(voltage, before, current!, load, lowest.atS),
    notes,
  };
}

interface Level {
  readonly level: number;
  readonly levelU: number;
  readonly noise: number;
}

interface LoadAround extends Level {
  readonly peakA: number;
}

function digitU(c: DipChannel): number {
  return resolutionUncertainty(c.resolution ?? 0);
}

function extreme(
  c: DipChannel,
  fromS: number,
  toS: number,
  sign: 1 | -1,
): { readonly value: number; readonly atS: number } | null {
  let best = -1;
  for (let i = lowerBound(c.t, fromS); i < c.t.length && c.t[i]! <= toS; i++)
    if (best < 0 || sign * c.y[i]! > sign * c.y[best]!) best = i;
  return best < 0 ? null : { value: c.y[best]!, atS: c.t[best]! };
}

/** The level just before a time, by the median, which pulses of a search do not move. */
function levelBefore(c: DipChannel, atS: number): Level | null {
  const to = lowerBound(c.t, atS - Math.max(REST_ENDS_S, 1.5 * (c.apertureS ?? 0)));
  const from = lowerBound(c.t, c.t[to - 1]! - REST_S);
  const y = c.y.subarray(from, to);
  if (!(y.length >= LEAST_REST)) return null;
  const noise = Math.max(robustDeviation(y), digitU(c));
  // Standard error of a median of normal readings.
  return { level: median(y), levelU: (1.2533 * noise) / Math.sqrt(y.length), noise };
}

function intervalAround(c: DipChannel, atS: number): number | null {
  const t = c.t.subarray(lowerBound(c.t, atS - LOOK_BACK_S), lowerBound(c.t, atS + LOOK_AHEAD_S));
  if (t.length < 2) return null;
  return median(t.subarray(1).map((x, i) => x - t[i]!));
}

/** Seconds from the lowest reading to the first that is back at `levelV`, between two readings on their line. */
function recovery(c: DipChannel, lowestS: number, levelV: number): number | null {
  for (let i = lowerBound(c.t, lowestS) + 1; i < c.t.length && c.t[i]! <= lowestS + RECOVER_WITHIN_S; i++) {
    if (c.y[i]! < levelV) continue;
    const [y0, y1] = [c.y[i - 1]!, c.y[i]!];
    const share = y1 === y0 ? 1 : Math.min(1, Math.max(0, (levelV - y0) / (y1 - y0)));
    return c.t[i - 1]! + share * (c.t[i]! - c.t[i - 1]!) - lowestS;
  }
  return null;
}

function slowNote(c: DipChannel, intervalS: number | null): string[] {
  const slowest = Math.max(intervalS ?? 0, c.apertureS ?? 0);
  return slowest <= FAST_S
    ? []
    : [
        `One reading takes ${durationText(slowest)}: a shorter dip is flattened, and the true lowest voltage lies below this one.`,
      ];
}

/** The largest current near the dip above what flowed before. */
function loadAround(c: DipChannel, lowestS: number, previousS: number | null): LoadAround | null {
  const interval = intervalAround(c, lowestS) ?? 1;
  const reach = Math.max(1, 2 * interval);
  const from = Math.max(lowestS - reach, previousS ?? -Infinity);
  const top = extreme(c, from, lowestS + reach, 1);
  const before = levelBefore(c, lowestS);
  if (top === null || before === null) return null;
  const peakA = top.value - before.level;
  return peakA > STANDS_OUT * before.noise && peakA > 2 * (c.resolution ?? 0) ? { ...before, peakA } : null;
}

/**
 * The voltage lost for each ampere, as the ratio of the two areas under the dip: what a meter averages over its
 * aperture and when its reading arrives changes a peak, but hardly an area. Null where the areas are too small to
 * carry it: a dip of less than a few readings.
 */
function resistance(
  voltage: DipChannel,
  before: Level,
  current: DipChannel,
  load: LoadAround,
  lowestS: number,
): Dip['sourceResistanceOhm'] {
  const [fromS, toS] = loadSpan(current, load, lowestS);
  const volts = area(voltage, fromS, toS, before.level, -1);
  const amps = area(current, fromS, toS, load.level, 1);
  if (volts === null || amps === null || !(amps.value > 0) || !(volts.value > 0)) return null;
  const ohm = volts.value / amps.value;
  const relative = Math.hypot(
    areaU(volts, before, volts.highest) / volts.value,
    areaU(amps, load, amps.highest) / amps.value,
  );
  return relative < 0.25 ? figure(ohm, ohm * relative) : null;
}

/** While the load flows, and one reading more on either side. */
function loadSpan(c: DipChannel, load: LoadAround, lowestS: number): [number, number] {
  const interval = intervalAround(c, lowestS) ?? 1;
  const above = (i: number): boolean => c.y[i]! - load.level > Math.max(0.1 * load.peakA, 3 * load.noise);
  const peak = extreme(c, lowestS - Math.max(1, 2 * interval), lowestS + Math.max(1, 2 * interval), 1)!;
  let first = lowerBound(c.t, peak.atS);
  let last = first;
  while (first > 0 && above(first - 1)) first--;
  while (last < c.t.length - 1 && above(last + 1)) last++;
  const aperture = Math.max(interval, c.apertureS ?? 0);
  return [c.t[first]! - 2 * aperture, c.t[last]! + 2 * aperture];
}

interface Area {
  readonly value: number;
  readonly n: number;
  readonly stepS: number;
  readonly spanS: number;
  readonly highest: number;
}

function area(c: DipChannel, fromS: number, toS: number, level: number, sign: 1 | -1): Area | null {
  const [from, to] = [lowerBound(c.t, fromS), lowerBound(c.t, toS)];
  if (to - from < 3) return null;
  const stepS = (c.t[to - 1]! - c.t[from]!) / (to - 1 - from);
  let value = 0;
  let highest = 0;
  for (let i = from; i < to; i++) {
    const y = sign * (c.y[i]! - level);
    value += y * stepS;
    highest = Math.max(highest, y);
  }
  return { value, n: to - from, stepS, spanS: toS - fromS, highest };
}

/** Noise of the readings, the level below them, and that an edge may fall anywhere within a reading. */
function areaU(a: Area, level: Level, highest: number): number {
  return Math.hypot(
    level.noise * a.stepS * Math.sqrt(a.n),
    level.levelU * a.spanS,
    (highest * a.stepS * Math.SQRT2) / Math.sqrt(12),
  );
}
