import type { Try } from './logistic.ts';

/** Statements about a handful of tries that need no large numbers. */

/** More ways than this to deal out the outcomes are not counted one by one. */
const MOST_WAYS = 400_000;

/**
 * Exact conditional test of "the voltage does not matter": of all ways to deal the same number of successes over the
 * same voltages, the share whose successes sit at least as high. One-sided: a low supply is what hurts. With two
 * voltages it is Fisher's exact test. Null where there is nothing to test, or too many ways to count.
 */
export function chanceOfOrder(tries: readonly Try[]): number | null {
  const n = tries.length;
  const worked = tries.filter((t) => t.worked).length;
  if (worked === 0 || worked === n) return null;
  if (ways(n, worked) > MOST_WAYS) return null;
  const v = tries.map((t) => t.voltageV).sort((a, b) => a - b);
  const seen = tries.reduce((s, t) => s + (t.worked ? t.voltageV : 0), 0);
  const tolerance = 1e-9 * Math.max(1, Math.abs(seen));
  let [all, asHigh] = [0, 0];
  const deal = (from: number, left: number, sum: number): void => {
    if (left === 0) {
      all++;
      if (sum >= seen - tolerance) asHigh++;
      return;
    }
    for (let i = from; i <= n - left; i++) deal(i + 1, left - 1, sum + v[i]!);
  };
  deal(0, worked, 0);
  return asHigh / all;
}

function ways(n: number, k: number): number {
  let c = 1;
  for (let i = 1; i <= Math.min(k, n - k); i++) c = (c * (n - i + 1)) / i;
  return c;
}

/** Log of the chance of at most `k` successes out of `n` at success rate `p`, summed without cancellation. */
function atMost(k: number, n: number, p: number): number {
  let term = (1 - p) ** n;
  let sum = term;
  for (let i = 1; i <= k; i++) {
    term *= ((n - i + 1) / i) * (p / (1 - p));
    sum += term;
  }
  return sum;
}

/**
 * Clopper and Pearson's exact limit (Biometrika 26, 1934): the highest success rate that `k` of `n` does not
 * contradict at the one-sided level `alpha`.
 */
export function highestRate(k: number, n: number, alpha = 0.05): number {
  if (k >= n) return 1;
  let [low, high] = [k / n, 1];
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2;
    if (atMost(k, n, middle) > alpha) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** The lowest success rate that `k` of `n` does not contradict. */
export function lowestRate(k: number, n: number, alpha = 0.05): number {
  return 1 - highestRate(n - k, n, alpha);
}
