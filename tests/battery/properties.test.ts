import { describe, expect, it } from 'vitest';
import type { NightInput } from '../../server/analysis/input.ts';
import { findNight } from '../../server/battery/findings.ts';
import type { Findings } from '../../server/messages/findings.ts';
import { makeNight } from '../helpers/nights.ts';

const NIGHT = makeNight({
  seed: 5,
  durationS: 3 * 3600,
  baselineA: 0.025,
  shutDowns: [{ atS: 600, dropA: 0.3 }],
  trains: [{ widthS: 0.03, amplitudeA: 0.7, stretches: [{ startS: 61, endS: 10_800, periodS: 0.83 }] }],
  wakeUps: [{ startS: 5000, durationS: 50, amplitudeA: 0.2 }],
  current: { intervalS: 0.1, resolution: 1e-4, noise: 5e-4 },
}).input;

function changed(t: (t: number) => number, y: (y: number) => number, keep = (_: number) => true): Findings {
  const c = NIGHT.channels[0]!;
  const kept = Array.from(c.t.keys()).filter(keep);
  const channel = {
    ...c,
    t: Float64Array.from(kept, (i) => t(c.t[i]!)),
    y: Float64Array.from(kept, (i) => y(c.y[i]!)),
  };
  return findNight({ ...NIGHT, durationS: t(NIGHT.durationS!), channels: [channel] } satisfies NightInput);
}
const same = (x: number): number => x;
const PLAIN = changed(same, same);
const regime = (f: Findings) => f.polling.regimes[0]!;

describe('the answer stays where it belongs', () => {
  it('when all is later', () => {
    const later = changed((t) => t + 500, same);
    expect(later.sleep.timeToSleepS! - PLAIN.sleep.timeToSleepS!).toBeCloseTo(500, 6);
    expect(regime(later).periodS!.value).toBeCloseTo(regime(PLAIN).periodS!.value, 9);
    expect(later.wakeUps[0]!.startS - PLAIN.wakeUps[0]!.startS).toBeCloseTo(500, 6);
  });

  it('when time runs at another scale', () => {
    const slow = changed((t) => 2 * t, same);
    expect(regime(slow).periodS!.value / regime(PLAIN).periodS!.value).toBeCloseTo(2, 8);
    expect(slow.sleep.settledBaselineA!.value).toBeCloseTo(PLAIN.sleep.settledBaselineA!.value, 6);
  });

  it('when a constant current is added', () => {
    const more = changed(same, (y) => y + 0.01);
    expect(more.sleep.settledBaselineA!.value - PLAIN.sleep.settledBaselineA!.value).toBeCloseTo(0.01, 6);
    expect(regime(more).averageA!.value).toBeCloseTo(regime(PLAIN).averageA!.value, 6);
    expect(more.wakeUps[0]!.chargeC).toBeCloseTo(PLAIN.wakeUps[0]!.chargeC, 3);
  });

  it('when readings are dropped', () => {
    const thin = changed(same, same, (i) => i % 41 !== 7);
    expect(regime(thin).periodS!.value).toBeCloseTo(regime(PLAIN).periodS!.value, 5);
    expect(thin.draw.averageAfterSleepA!.value).toBeCloseTo(PLAIN.draw.averageAfterSleepA!.value, 3);
    expect(thin.wakeUps).toHaveLength(1);
  });

  it('when the budget is added up', () => {
    const { averageAfterSleepA, budget } = PLAIN.draw;
    const sum = budget.baselineA! + budget.pollingA! + budget.wakeUpsA!;
    expect(Math.abs(sum - averageAfterSleepA!.value)).toBeLessThan(
      Math.max(averageAfterSleepA!.expandedUncertainty, 2e-5),
    );
  });
});
