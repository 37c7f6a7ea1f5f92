import { describe, expect, it } from 'vitest';
import { normalAt, normalQuantile, streamOf, uniformAt } from '../../server/simulator/random.ts';

const N = 100_000;
const draws = (of: (index: number) => number) => Array.from({ length: N }, (_, i) => of(i));
const mean = (x: readonly number[]) => x.reduce((a, b) => a + b, 0) / x.length;

describe('random', () => {
  it.each([
    // NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1 and its critical values, to the digits printed.
    [0.9, 1.282],
    [0.95, 1.645],
    [0.975, 1.96],
    [0.99, 2.326],
    [0.999, 3.09],
  ])('the normal quantile of %d is %d', (p, x) => {
    expect(normalQuantile(p)).toBeCloseTo(x, 3);
    expect(normalQuantile(1 - p)).toBeCloseTo(-x, 3);
  });

  it('the normal quantile inverts the integral of the density, out to six sigma', () => {
    const density = (x: number) => Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI);
    /** Simpson's rule from the quantile to far out in the tail, where nothing is left. */
    const tail = (x: number) => {
      const h = 9 / 4000;
      let sum = 0;
      for (let k = 0; k <= 4000; k++) sum += density(x + k * h) * (k % 4000 === 0 ? 1 : k % 2 ? 4 : 2);
      return (sum * h) / 3;
    };
    for (const p of [0.49, 0.4, 0.2, 0.08, 0.07, 0.01, 1e-4, 1e-9, 1e-11, 1e-12]) {
      expect(tail(-normalQuantile(p)) / p).toBeCloseTo(1, 5);
      expect(normalQuantile(p)).toBeCloseTo(-normalQuantile(1 - p), p < 1e-8 ? 3 : 6);
    }
  });

  it('uniform draws fill [0, 1) evenly', () => {
    const bins = new Array<number>(20).fill(0);
    for (const u of draws((i) => uniformAt(streamOf(7, 'a'), i))) bins[Math.floor(u * 20)]!++;
    const chiSquare = bins.reduce((sum, b) => sum + (b - N / 20) ** 2 / (N / 20), 0);
    expect(chiSquare).toBeLessThan(43.8); // 99.9 % point of chi-square with 19 degrees of freedom
  });

  it('normal draws have mean 0, variance 1, and no memory', () => {
    const x = draws((i) => normalAt(streamOf(7, 'b'), i));
    expect(Math.abs(mean(x))).toBeLessThan(4 / Math.sqrt(N));
    expect(mean(x.map((v) => v * v))).toBeCloseTo(1, 1);
    for (const lag of [1, 2, 10]) {
      const r = mean(x.slice(lag).map((v, i) => v * x[i]!));
      expect(Math.abs(r)).toBeLessThan(4 / Math.sqrt(N));
    }
  });

  it('streams of neighbouring seeds and of different parts are unrelated', () => {
    const a = draws((i) => normalAt(streamOf(1, 'noise'), i));
    for (const other of [streamOf(2, 'noise'), streamOf(1, 'noisf'), streamOf(1 + 2 ** 32, 'noise')]) {
      expect(Math.abs(mean(a.map((v, i) => v * normalAt(other, i))))).toBeLessThan(4 / Math.sqrt(N));
    }
  });

  it('a draw is a function of stream and index alone', () => {
    const stream = streamOf(3, 'c');
    const late = uniformAt(stream, 5000);
    draws((i) => uniformAt(stream, i));
    expect(uniformAt(stream, 5000)).toBe(late);
    expect(uniformAt(stream, 5000 + 2 ** 32)).not.toBe(late);
  });
});
