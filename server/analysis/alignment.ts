import { combine } from './accuracy.ts';
import { lagWindow, type LagWindow, type Side } from './lag-window.ts';

/**
 * How far two meters' clocks are apart, from load steps that both have seen: up in the current, down in the
 * voltage. Each meter has its own radio and its own delay.
 */
export interface Alignment {
  /** The voltage's stamps are so much later than the current's, seconds. */
  readonly lagS: number;
  readonly standardU: number;
  /** Common steps behind it. */
  readonly steps: number;
}

/** Delays of radios and their queues stay below this; a clock that is farther off is no delay. */
export const MOST_LAG_S = 5;
/** Readings that came together are of one meter, whose conversions alone are apart: it is looked for there first. */
const MOST_LAG_INTERVALS = 2;
/** On either side of a step: near enough that the battery's own drift is a straight line. */
const REACH_S = 25;
const REACH_INTERVALS = 12;
/** The strongest steps tell nearly all. */
const MOST_STEPS = 20;
/** Where no radio's delays need to be averaged. */
const MOST_STEPS_OF_ONE = 6;
/** A smaller step is lost in the search's own pulses. */
const LEAST_STEP_A = 0.02;
/** By how many variances a step has to explain the voltage before it counts as seen by both. */
const SEEN = 36;
/** Parts of the shorter interval between lags that are tried; so many on either side at most. */
const PARTS = 2;
const MOST_TRIES = 500;

/** Null where fewer than two common steps settle it, or the two sides contradict each other. */
export function alignChannels(current: Side, voltage: Side, stepTimes: readonly number[]): Alignment | null {
  const slower = Math.max(current.channel.intervalS ?? 1, voltage.channel.intervalS ?? 1);
  const near =
    current.channel.t === voltage.channel.t
      ? alignWithin(MOST_LAG_INTERVALS * slower, MOST_STEPS_OF_ONE, current, voltage, stepTimes)
      : null;
  return near ?? alignWithin(MOST_LAG_S, MOST_STEPS, current, voltage, stepTimes);
}

function alignWithin(
  mostLagS: number,
  mostSteps: number,
  current: Side,
  voltage: Side,
  stepTimes: readonly number[],
): Alignment | null {
  const slower = Math.max(current.channel.intervalS ?? 1, voltage.channel.intervalS ?? 1);
  const faster = Math.min(current.channel.intervalS ?? 1, voltage.channel.intervalS ?? 1);
  const search = { leastS: -mostLagS, mostS: mostLagS };
  const reach = mostLagS + Math.max(REACH_S, REACH_INTERVALS * slower);
  const windows = stepTimes
    .map((at) => lagWindow(current, voltage, { fromS: at - reach, changeS: at, toS: at + reach }, search))
    .filter((w): w is LagWindow => w !== null && w.step >= LEAST_STEP_A)
    .sort((a, b) => b.step - a.step)
    .slice(0, mostSteps);
  const tries = triesOf(search, Math.max(mostLagS / MOST_TRIES, faster / PARTS));
  const seen = windows.map((w) => new Seen(w, tries)).filter((s) => s.gain >= SEEN);
  if (seen.length < 2) return null;
  const total = (lagS: number): number => seen.reduce((sum, s) => sum + s.cost(lagS), 0);
  const sums = tries.map((_, i) => seen.reduce((sum, s) => sum + s.costs[i]!, 0));
  const coarse = tries[sums.indexOf(Math.min(...sums))]!;
  const bestS = lowest(total, coarse, tries[1]! - tries[0]!);
  const widths = seen.map((s) => ({
    s,
    own: lowestNear(s, bestS, slower),
    u: halfWidth((x) => s.cost(x), bestS, slower),
  }));
  const scatter = widths.reduce((sum, { own, u }) => sum + ((own - bestS) / u) ** 2, 0) / (seen.length - 1);
  const standardU = combine(
    halfWidth(total, bestS, slower) * Math.sqrt(Math.max(1, scatter)),
    ...[current, voltage].map((side) => side.channel.jitterS / Math.sqrt(3 * seen.length)),
    unstated(current) / Math.sqrt(3),
    unstated(voltage) / Math.sqrt(3),
  );
  const lagS = bestS + unstated(voltage) - unstated(current);
  // At the border of the search it is not a minimum; as wide as the search it is no answer.
  if (Math.abs(bestS) > mostLagS - slower / 2 || standardU > slower) return null;
  return { lagS, standardU, steps: seen.length };
}

/**
 * Nobody said for how long a reading integrates, so the whole interval is supposed: its middle lies later than that
 * by up to half an interval. This is the middle of what may be, and as much either way.
 */
function unstated({ channel }: Side): number {
  return channel.apertureStated ? 0 : (channel.intervalS ?? 0) / 4;
}

/** One step, as a cost over the lag in units of the variance that its best fit leaves. */
class Seen {
  readonly costs: readonly number[];
  readonly gain: number;
  private readonly variance: number;

  constructor(
    private readonly window: LagWindow,
    tries: readonly number[],
  ) {
    const squares = tries.map((lagS) => window.at(lagS).squares);
    const least = Math.min(...squares);
    this.variance = Math.max(window.variance, least / Math.max(1, window.points - 4));
    this.costs = squares.map((s) => s / this.variance);
    this.gain = (window.flat - least) / this.variance;
  }

  cost(lagS: number): number {
    return this.window.at(lagS).squares / this.variance;
  }
}

function triesOf({ leastS, mostS }: { leastS: number; mostS: number }, step: number): number[] {
  return Array.from({ length: Math.floor((mostS - leastS) / step) + 1 }, (_, i) => leastS + i * step);
}

const GOLDEN = (Math.sqrt(5) - 1) / 2;

/** The lowest place within `reach` of `at`, where the cost is a single valley (golden section). */
function lowest(cost: (lagS: number) => number, at: number, reach: number): number {
  let [a, b] = [at - reach, at + reach];
  let [x, y] = [b - GOLDEN * (b - a), a + GOLDEN * (b - a)];
  let [fx, fy] = [cost(x), cost(y)];
  while (b - a > 1e-4) {
    if (fx < fy) {
      [b, y, fy] = [y, x, fx];
      x = b - GOLDEN * (b - a);
      fx = cost(x);
    } else {
      [a, x, fx] = [x, y, fy];
      y = a + GOLDEN * (b - a);
      fy = cost(y);
    }
  }
  return (a + b) / 2;
}

function lowestNear(s: Seen, lagS: number, reach: number): number {
  return lowest((x) => s.cost(x), lagS, reach);
}

/** Half the width of the lags at which the cost is at most one above its lowest: one standard deviation. */
function halfWidth(cost: (lagS: number) => number, lagS: number, most: number): number {
  const limit = cost(lagS) + 1;
  const side = (sign: number): number => {
    let [inside, outside] = [0, most];
    if (cost(lagS + sign * most) <= limit) return most;
    while (outside - inside > 1e-4) {
      const middle = (inside + outside) / 2;
      if (cost(lagS + sign * middle) <= limit) inside = middle;
      else outside = middle;
    }
    return outside;
  };
  return (side(-1) + side(1)) / 2;
}
