import { describe, expect, it } from 'vitest';
import { largestGap, withoutSlide } from '../../server/analysis/in-step.ts';
import { realisedPeriod } from '../../server/analysis/period.ts';
import { estimateInterval, waitsForTurns } from '../../server/analysis/sampling.ts';
import { median, standardDeviation } from '../../server/analysis/statistics.ts';
import { Random } from '../helpers/random.ts';

/** The same by laying the places out and measuring. */
function gapsLaidOut(turn: number, beats: number): number {
  const places = Array.from({ length: beats }, (_, k) => (k * turn) % 1).sort((a, b) => a - b);
  return Math.max(...places.map((x, k) => (places[k + 1] ?? places[0]! + 1) - x));
}

describe('the largest gap between beats in a reading', () => {
  it('is what laying them out gives', () => {
    const random = new Random(1);
    for (let round = 0; round < 400; round++) {
      const turn = random.between(0, 30);
      const beats = Math.floor(random.between(1, 300));
      expect(largestGap(turn, beats)).toBeCloseTo(gapsLaidOut(turn, beats), 9);
    }
  });

  // The golden ratio leaves no gap much larger than the others (Steinhaus's three distances; from memory).
  it.each([
    ['in step', 3, 1000, 1],
    ['every second reading in the middle', 2.5, 1000, 0.5],
    ['five places', 4.6, 1000, 0.2],
    ['the golden ratio', (Math.sqrt(5) - 1) / 2, 610, 1.9 / 610],
    ['a single beat', 0.3, 1, 1],
  ])('%s', (_what, turn, beats, most) => {
    expect(largestGap(turn, beats)).toBeLessThanOrEqual(most + 1e-9);
    expect(largestGap(turn, beats)).toBeGreaterThan(most / 2);
  });
});

/** When readings of 0.1 s that end at whole tenths show pulses of no width: at the end of the reading they fell into. */
const READING = { lengthS: 0.1, scatterS: 0.1 / Math.sqrt(12), widthS: 0 };
const seenAt = (t: number): number => Math.ceil(t / 0.1) * 0.1;

describe('a train that slides through the readings', () => {
  it('loses what its places account for, and nothing else', () => {
    const slots = Float64Array.from({ length: 2000 }, (_, k) => k);
    const period = 0.7618;
    const off = slots.map((k) => seenAt(0.013 + period * k) - (0.063 + period * k));
    const rest = withoutSlide(slots, off, period / 0.1)!;
    expect(standardDeviation(rest)).toBeLessThan(standardDeviation(off) / 4);
    const noise = new Random(2);
    expect(
      withoutSlide(
        slots,
        slots.map(() => noise.normal()),
        period / 0.1,
      ),
    ).toBeNull();
  });

  it('keeps its trend where places and trend look alike', () => {
    const slots = Float64Array.from({ length: 2000 }, (_, k) => k);
    for (const turn of [7.0001, 4.60002])
      expect(
        withoutSlide(
          slots,
          slots.map((k) => 1e-5 * k),
          turn,
        ),
      ).toBeNull();
  });

  /** Trains of 100 to 1500 beats whose clock walks a little, seen in readings. */
  const trials = Array.from({ length: 300 }, (_, seed) => {
    const random = new Random(seed + 1);
    const beats = Math.floor(random.between(100, 1500));
    const near = random.pick([0, 0, 0.2, 0.5]);
    const period = 0.1 * (7 + near + random.between(0.002, 0.12));
    const walkS = random.pick([0, 1e-4]) * period;
    const clock = [random.next()];
    while (clock.length < beats) clock.push(clock.at(-1)! + period + walkS * random.normal());
    const found = realisedPeriod(
      clock.map((_t, k) => k),
      clock.map(seenAt),
      READING,
    )!;
    const truth = (clock.at(-1)! - clock[0]!) / (beats - 1);
    return { error: Math.abs(found.periodS - truth), expanded: 2 * found.standardU };
  });

  // 12 s^2 / (N (N^2 - 1)), with the readings' scatter and the clock's own: what evenly scattered times would give.
  it.each([
    [44.027, 1145, 0.0062],
    [14.0031, 9255, 0.01],
    [9.16661, 4713, 0.0025],
    [7.0016, 12254, 0.01],
  ])(
    '%s readings a period, %i beats of an even clock: within three times the bound',
    (turn, beats, whiteS) => {
      const width = 0.02;
      const random = new Random(7);
      const period = 0.1 * turn;
      const seen = Array.from({ length: beats }, (_, k) => {
        const at = 0.03 + period * k + whiteS * random.normal();
        const end = seenAt(at);
        // What of the pulse falls into the next reading moves its middle there.
        return end + 0.1 * Math.max(0, (at + width - end) / width);
      });
      const slots = seen.map((_t, k) => k);
      const found = realisedPeriod(slots, seen, { ...READING, widthS: width })!;
      const bound = Math.hypot(whiteS, READING.scatterS) * Math.sqrt(12 / beats ** 3);
      expect(Math.abs(found.periodS - period)).toBeLessThan(3 * bound);
      expect(Math.abs(found.periodS - period)).toBeLessThan(3 * found.standardU);
      expect(found.standardU).toBeLessThan(5 * bound);
    },
  );

  it('has a period that its uncertainty covers, and not too widely', () => {
    const covered = trials.filter((t) => t.error <= t.expanded).length / trials.length;
    expect(covered).toBeGreaterThanOrEqual(0.9);
    expect(median(trials.map((t) => t.expanded)) / median(trials.map((t) => t.error))).toBeLessThan(8);
  });
});

describe('readings that wait for the turn of the radio', () => {
  const arrivals = (late: (at: number) => number): Float64Array =>
    Float64Array.from({ length: 900 }, (_, k) => late(0.0123 + 0.1 * k));

  it('are told from readings that come late each by itself', () => {
    const random = new Random(3);
    const turns = arrivals((at) => Math.ceil(at / 0.03) * 0.03 + 0.003 * random.next());
    const single = arrivals((at) => at + 0.03 * random.next());
    const even = arrivals((at) => at);
    expect(waitsForTurns(turns, estimateInterval(turns)!)).toBe(true);
    expect(waitsForTurns(single, estimateInterval(single)!)).toBe(false);
    expect(waitsForTurns(even.subarray(0, 3), 0.1)).toBe(false);
  });
});
