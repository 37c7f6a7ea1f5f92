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
  const rivals = aliases(s).filter((p) => fits(p, s));
  const itself = s.periodS >= 2 * s.intervalS * (1 - 1e-3) && fits(s.periodS, s);
  if (itself && rivals.length === 0) return { resolved: true, candidates: [], floorIsBare: true };
  const candidates = itself ? [...rivals, s.periodS] : rivals;
  return {
    resolved: false,
    candidates: candidates.filter((p) => p <= LONGEST_CANDIDATE_S).sort((a, b) => a - b),
    floorIsBare: candidates.every((p) => wholePulses(p, s) === 0),
  };
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
 * how high one more can stand: less, where pulses are wider than the aperture, but never more.
 */
function fits(period: number, s: SeenTrain): boolean {
  const whole = wholePulses(period, s);
  const share = s.apertureS / period - whole;
  if (share <= 0) return false;
  const onePulse = s.meanExcess / share;
  if (whole * onePulse > s.floor + s.floorUncertainty) return false;
  return s.top <= onePulse * (1 + TOP_SLACK) + (s.topUncertainty ?? 0);
}
