import { describe, expect, it } from 'vitest';
import { evenTimes } from '../../server/analysis/even-times.ts';
import { estimateInterval, estimateJitter, places } from '../../server/analysis/sampling.ts';
import { withoutStalls } from '../../server/analysis/stalls.ts';
import { findNight } from '../../server/battery/findings.ts';
import { hardNight } from '../helpers/hard-nights.ts';
import { makeNight } from '../helpers/nights.ts';
import { Random } from '../helpers/random.ts';

const even = (n: number, intervalS: number): Float64Array =>
  Float64Array.from({ length: n }, (_, i) => i * intervalS);

/** What arrives when nothing gets through from one time to another, 1 ms apart afterwards. */
function heldUp(t: Float64Array, fromS: number, toS: number): Float64Array {
  let late = 0;
  return t.map((at) => (at >= fromS && at + late < toS ? toS + 1e-3 * late++ : at));
}

describe('readings that were held up', () => {
  it('come back to when they were taken', () => {
    const t = even(200, 0.1);
    const out = withoutStalls(heldUp(t, 5.05, 6.02), 0.1, 0.005);
    out.forEach((at, i) => expect(at).toBeCloseTo(t[i]!, 2));
  });

  it('are found wherever they are: at the start, at the end, one after another', () => {
    const t = even(300, 0.1);
    const arrived = heldUp(heldUp(heldUp(t, 0.05, 1.02), 7.05, 9.01), 9.15, 9.62);
    const out = withoutStalls(arrived, 0.1, 0.005);
    out.forEach((at, i) => expect(at).toBeCloseTo(t[i]!, 1));
    const toTheEnd = withoutStalls(heldUp(t, 28.05, 29.91), 0.1, 0.005);
    toTheEnd.forEach((at, i) => expect(at).toBeCloseTo(t[i]!, 2));
  });

  it('some of which were lost are set back from the end of the heap', () => {
    const t = even(200, 0.1);
    const arrived = heldUp(t, 5.05, 6.02).filter((_, i) => i < 51 || i > 55);
    const out = withoutStalls(arrived, 0.1, 0.005);
    const taken = t.filter((_, i) => i < 51 || i > 55);
    out.forEach((at, i) => expect(at).toBeCloseTo(taken[i]!, 1));
  });

  it.each([
    ['nothing was held up', even(200, 0.1)],
    ['a pause without a heap', even(200, 0.1).map((t, i) => (i < 100 ? t : t + 7))],
    ['a single late reading', even(200, 0.1).map((t, i) => (i === 100 ? t + 0.06 : t))],
    ['a clock put forward', even(200, 0.1).map((t, i) => (i < 100 ? t : t + 3600))],
  ])('%s: nothing is moved', (_what, t) => {
    expect(withoutStalls(t, 0.1, 0.005)).toBe(t);
  });

  it('stay in order, and no reading is taken before the one ahead of it or after it arrived', () => {
    const random = new Random(3);
    for (let round = 0; round < 200; round++) {
      const intervalS = random.between(0.02, 1);
      let t: Float64Array = even(400, intervalS).map((at) => at + 0.2 * intervalS * random.next());
      for (let k = 0; k < 6; k++) {
        const from = random.between(0, 400 * intervalS);
        t = heldUp(t, from, from + random.between(0, 20) * intervalS);
      }
      const arrived = Float64Array.from(t).sort();
      const out = withoutStalls(arrived, intervalS, estimateJitter(arrived));
      for (let i = 1; i < out.length; i++) expect(out[i]!).toBeGreaterThan(out[i - 1]!);
      out.forEach((at, i) => expect(at).toBeLessThanOrEqual(arrived[i]! + 1e-9));
    }
  });

  it('on an even clock are not taken after they arrived either', () => {
    const random = new Random(4);
    const t = even(4000, 0.05);
    // Turns of 30 ms, and a stall of up to a second every few.
    let arrived: Float64Array = t.map((at) => Math.ceil((at + 0.01) / 0.03) * 0.03 + 0.002 * random.next());
    for (let at = 2; at < 190; at += random.between(2, 6)) arrived = heldUp(arrived, at, at + random.next());
    arrived.sort();
    const out = evenTimes(arrived, 0.05);
    out.forEach((at, i) => expect(Math.abs(at - t[i]! - 0.02)).toBeLessThan(0.05));
  });

  it('do not split a train in two, on any of many nights', () => {
    for (let seed = 1; seed <= 12; seed++) {
      const night = makeNight(hardNight('heldUp', seed));
      const { polling, sleep } = findNight(night.input);
      expect(polling.regimes, `seed ${seed}`).toHaveLength(night.truth.trains[0]!.length);
      if (night.truth.timeToSleepS > 0) expect(sleep.state).toBe('slept');
    }
  });
});

describe('the interval of readings that wait for the turn of the radio', () => {
  // Turns of 30 ms: the pattern of differences repeats every 3, 6 or 25 readings.
  it.each([0.05, 0.1, 0.125, 0.16, 0.25, 0.4, 0.5])('%s s', (intervalS) => {
    for (const n of [300, 3000, 50_000]) {
      const t = even(n, intervalS).map((at) => Math.ceil((at + 0.012) / 0.03) * 0.03);
      expect(Math.abs(estimateInterval(t)! / intervalS - 1)).toBeLessThan(0.3 / n);
    }
  });

  it('is found where they are held up for much of the time', () => {
    for (const seed of [10, 60, 62]) {
      const spec = hardNight('heldUp', seed);
      const { t } = makeNight(spec).input.channels[0]!;
      expect(Math.abs(estimateInterval(t)! / spec.current!.intervalS - 1), `seed ${seed}`).toBeLessThan(2e-6);
    }
  });

  it('is looked for at places that keep step with no pattern', () => {
    for (const period of [2, 3, 5, 6, 7, 21, 25]) {
      const seen = new Float64Array(period);
      for (const i of places(86_399, 4096)) seen[i % period]!++;
      seen.forEach((n) => expect(Math.abs((n * period) / 4096 - 1)).toBeLessThan(0.1));
    }
    expect([...places(5, 9)]).toEqual([0, 1, 2, 3, 4]);
    expect(places(0, 9)).toHaveLength(0);
  });
});
