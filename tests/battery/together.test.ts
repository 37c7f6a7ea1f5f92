import { describe, expect, it } from 'vitest';
import { findNight } from '../../server/battery/findings.ts';
import { narrowedBy } from '../../server/battery/together.ts';
import type { Findings } from '../../server/messages/findings.ts';
import { describeFindings } from '../../server/messages/sentences.ts';
import { makeNight } from '../helpers/nights.ts';

/** The same car, its search every `periodS`, seen by a meter of its own sampling rate. */
function seen(intervalS: number, periodS: number): Findings {
  const stretch = { startS: 70.3, endS: 5 * 3600, periodS };
  return findNight(
    makeNight({
      seed: Math.round(intervalS * 1000),
      durationS: 5 * 3600,
      baselineA: 0.04,
      shutDowns: [{ atS: 50, dropA: 0.3 }],
      trains: [{ widthS: 0.02, amplitudeA: 0.4, stretches: [stretch] }],
      current: { intervalS, resolution: 1e-4, noise: 3e-4 },
    }).input,
  );
}
const has = (f: Findings, p: number): boolean =>
  f.polling.candidatePeriodsS.some((c) => Math.abs(c / p - 1) < 2e-3);

describe('two recordings of one car', () => {
  it.each([0.3, 0.6])('leave of the periods that each allows only what fits both: %f s', (truth) => {
    const slow = seen(0.4, truth);
    const other = seen(0.333, truth);
    expect(slow.polling.state).toBe('unresolved');
    expect(slow.polling.candidatePeriodsS.length).toBeGreaterThan(1);
    const narrowed = narrowedBy(slow, other);
    expect(has(narrowed, truth)).toBe(true);
    expect(narrowed.polling.candidatePeriodsS.length).toBeLessThan(slow.polling.candidatePeriodsS.length);
  });

  it('settle it where the other one timed it', () => {
    const slow = seen(0.4, 0.3);
    const fast = seen(0.02, 0.3);
    expect(fast.polling.state).toBe('resolved');
    const { candidatePeriodsS } = narrowedBy(slow, fast).polling;
    expect(candidatePeriodsS).toHaveLength(1);
    expect(candidatePeriodsS[0]).toBeCloseTo(0.3, 4);
    const said = (f: Findings): string =>
      describeFindings(f)
        .map((s) => s.text)
        .join(' ');
    expect(said(slow)).toContain('Periods that would read the same here');
    expect(said(narrowedBy(slow, fast))).toContain('only one fits all that was recorded: 0.3 s');
    expect(said(narrowedBy(slow, fast))).not.toContain('read the same');
  });

  it('change nothing where nothing fits both, or nothing is open', () => {
    const slow = seen(0.4, 0.3);
    expect(narrowedBy(slow, seen(0.02, 0.71))).toBe(slow);
    const fast = seen(0.02, 0.3);
    expect(narrowedBy(fast, slow)).toBe(fast);
  });
});
