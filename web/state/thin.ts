import type { Trace } from './live.ts';

/**
 * Lowest and highest of each stretch of `stretchMs` in their order, and a null where one broke the line: what a
 * line of that many columns can show. Stretches lie on the clock, so that a running line does not shimmer. A trace
 * that is not much longer than that comes back as it is.
 */
export function thin(trace: Trace, stretchMs: number): Trace {
  const { t, y } = trace;
  const n = t.length;
  if (n < 2 || n * stretchMs < 4 * (t[n - 1]! - t[0]!)) return trace;
  const outT: number[] = [];
  const outY: (number | null)[] = [];
  for (let i = 0; i < n;) {
    const end = (Math.floor(t[i]! / stretchMs) + 1) * stretchMs;
    let low = -1;
    let high = -1;
    let broken = -1;
    for (; i < n && t[i]! < end; i++) {
      const v = y[i]!;
      if (v === null) {
        broken = i;
        continue;
      }
      if (low < 0 || v < y[low]!) low = i;
      if (high < 0 || v > y[high]!) high = i;
    }
    const kept = [low, high, broken].filter((k, j, all) => k >= 0 && all.indexOf(k) === j);
    for (const k of kept.sort((a, b) => a - b)) {
      outT.push(t[k]!);
      outY.push(y[k]!);
    }
  }
  return { t: outT, y: outY };
}
