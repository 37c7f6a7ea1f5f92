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

  it('the normal quantile is continuous where its three approximations meet, out to six sigma', () => {
    for (const p of [0.075, 0.925, Math.exp(-25)]) {
      expect(normalQuantile(p * (1 + 1e-9))).toBeCloseTo(normalQuantile(p * (1 - 1e-9)), 5);
    }
    // Six sigma lies beyond 9.8659e-10 of a normal population (from memory).
    expect(normalQuantile(9.8658764503e-10)).toBeCloseTo(-6, 5);
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
