import { hasDeadTime } from './dead-time.ts';
import { LONGEST_PULSE_S } from './wake-ups.ts';

/**
 * Stage 8: what a train of visible pulses proves about the true period. A meter that samples every Ts sees
 * any train of period P at |m/Ts - 1/P|; and with apertures back to back a faster train only puts whole
 * pulses into every reading, so it looks like the slow train on a higher floor.
 */

export interface SeenTrain {
  readonly periodS: number;
  /** The highest readings above the floor, amperes (or volts): those that hold a whole pulse more. */
  readonly top: number;
  /** How much of `top` may be noise; 0 where not given. */
  readonly topUncertainty?: number;
  /** Mean of all readings above the floor, same unit. */
  readonly meanExcess: number;
  /** The lowest level of the readings; a load cannot be negative. */
  readonly floor: number;
  readonly floorUncertainty: number;
  readonly intervalS: number;
  readonly apertureS: number;
  /** Readings that stood out, for each beat from the first to the last; not given where that is not known. */
  readonly readingsPerBeat?: number;
  /** Largest part of the period that no reading began in, 0..1 (`unvisitedPart`); default 0. */
  readonly unvisited?: number;
}

export interface Resolved {
  readonly resolved: boolean;
  /** Periods up to LONGEST_CANDIDATE_S that would read the same, rising; empty when resolved. */
  readonly candidates: readonly number[];
  /** Whether the lowest level of the readings is the load without any pulse, whichever candidate is true. */
  readonly floorIsBare: boolean;
}

/** No door search is faster: the shortest published exchange with a fob takes 50 ms. */
const SHORTEST_PERIOD_S = 0.05;
export const LONGEST_CANDIDATE_S = 2;
/** How well the height of the highest readings is known. */
const TOP_SLACK = 0.05;

export function resolvePeriod(s: SeenTrain): Resolved {
  if (lastsS(s) > LONGEST_PULSE_S + 2 * s.intervalS) return beatOnly(s);
  if (isMultiple(s)) return several(s);
  const rivals = [...aliases(s).filter((p) => fits(p, s)), ...halfHidden(s)];
  const itself = s.periodS >= 2 * s.intervalS * (1 - 1e-3) && fits(s.periodS, s);
  if (itself && rivals.length === 0) return { resolved: true, candidates: [], floorIsBare: true };
  const candidates = itself ? [...rivals, s.periodS] : rivals;
  return {
    resolved: false,
    candidates: candidates.filter((p) => p <= LONGEST_CANDIDATE_S).sort((a, b) => a - b),
    floorIsBare: candidates.every((p) => wholePulses(p, s) === 0),
  };
}

/** How long a pulse stands at the height of the highest readings, were the period what it seems. */
function lastsS(s: SeenTrain): number {
  return (s.meanExcess * s.periodS) / s.top;
}

/**
 * No polling pulse lasts as long: what rises and falls is a train nearly in step, cut by the borders of the readings, and
 * its pulses' charge is not known.
 */
function beatOnly(s: SeenTrain): Resolved {
  const candidates = aliases(s).filter((p) => p <= LONGEST_CANDIDATE_S);
  return { resolved: false, candidates: candidates.sort((a, b) => a - b), floorIsBare: false };
}

/** Readings at a pulse's edges hold less of it, and may not stand out. */
const EDGES = 0.75;
const LONGER = 1.15;

/**
 * Whether more charge comes in a period than the readings that stood out on its beat can have seen, as far as places
 * that no reading began in leave that open: then pulses come more often, and the others were left out.
 */
function isMultiple(s: SeenTrain): boolean {
  if (s.readingsPerBeat === undefined || !hasDeadTime({ openShare: s.apertureS / s.intervalS })) return false;
  const place = (s.unvisited ?? 0) * s.periodS;
  if (lastsS(s) <= LONGER * (s.apertureS + place)) return false;
  return s.readingsPerBeat < EDGES * ((lastsS(s) + s.apertureS - place) / s.intervalS);
}

/** How far a period told by its charge alone may be off, relative, beside what dead time leaves open. */
const CHARGE_SLACK = 0.15;
const MOST_HARMONICS = 4;

/** What one pulse's charge makes of the period: those near it of which this one may be a harmonic, or the image of one. */
function several(s: SeenTrain): Resolved {
  const told = (s.apertureS * s.top) / s.meanExcess;
  const slack = CHARGE_SLACK + ((s.unvisited ?? 0) * s.periodS) / s.apertureS;
  const near = (p: number): boolean => Math.abs(p / told - 1) < slack && p <= LONGEST_CANDIDATE_S;
  const periods = new Set<number>();
  for (let h = 1; h <= MOST_HARMONICS; h++) {
    periods.add(s.periodS / h);
    for (let m = 0; m * SHORTEST_PERIOD_S <= h * s.intervalS; m++)
      for (const sign of [-1, 1]) periods.add(h / Math.abs(m / s.intervalS + sign / s.periodS));
  }
  return {
    resolved: false,
    candidates: [...periods].filter(near).sort((a, b) => a - b),
    floorIsBare: told > s.apertureS,
  };
}

/**
 * Whole parts of a period in step with readings that have dead time: of so many pulses only one is ever seen where the
 * others' places in the interval leave room for an aperture that takes in its own and none of theirs.
 */
function halfHidden(s: SeenTrain): number[] {
  const gapS = (s.unvisited ?? 0) * s.periodS;
  if (gapS < s.apertureS) return [];
  const out: number[] = [];
  for (let k = 2; k * SHORTEST_PERIOD_S <= s.periodS; k++) {
    const period = s.periodS / k;
    const others = Array.from({ length: k - 1 }, (_, j) => ((j + 1) * period) % s.intervalS);
    const room = Math.min(...others) + s.intervalS - Math.max(...others);
    if (Math.min(...others) > 0 && room >= s.apertureS) out.push(period);
  }
  return out;
}

/** Every other period from SHORTEST_PERIOD_S up that uniform sampling shows at the same place. */
function aliases(s: SeenTrain): number[] {
  const out: number[] = [];
  for (let m = 1; m / s.intervalS - 1 / s.periodS <= 1 / SHORTEST_PERIOD_S; m++)
    for (const sign of [-1, 1]) {
      const period = 1 / (m / s.intervalS + sign / s.periodS);
      if (period >= SHORTEST_PERIOD_S && Math.abs(period / s.periodS - 1) > 1e-3) out.push(period);
    }
  return out;
}

function wholePulses(period: number, s: SeenTrain): number {
  return Math.floor(s.apertureS / period + 1e-9);
}

/**
 * Whether a train of this period could have made these readings. A reading holds n or n + 1 pulses, n being
 * the whole ones in an aperture; the share that holds one more is aperture / period - n. The mean above the
 * floor then gives the charge of a pulse, so what n of them lift the floor by, which the floor must carry, and
 * how high one more can stand: less, where pulses are wider than the aperture, but never more. With dead time, places
 * in the period that no reading began in leave that charge uncertain by how many of them an aperture reaches over.
 */
function fits(period: number, s: SeenTrain): boolean {
  const whole = wholePulses(period, s);
  const share = s.apertureS / period - whole;
  if (share <= 0) return false;
  const onePulse = s.meanExcess / share;
  const slack = Math.min(1, ((s.unvisited ?? 0) * period) / s.apertureS);
  if (whole * onePulse * (1 - slack) > s.floor + s.floorUncertainty) return false;
  return s.top <= onePulse * (1 + slack) * (1 + TOP_SLACK) + (s.topUncertainty ?? 0);
}
