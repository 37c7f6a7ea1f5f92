import { describe, expect, it } from 'vitest';
import type { Pulses } from '../../server/messages/pulses.ts';
import { foldable, foldSentence, periodSentence } from '../../web/state/pulses.ts';
import { budgetTotal } from '../../web/state/tables.ts';
import { sampleFindings } from './samples.ts';

const fold = (median: (number | null)[]): NonNullable<Pulses['fold']> => ({
  fromS: -0.01,
  toS: 0.09,
  t: median.map((_, i) => -0.01 + 0.01 * (i + 0.5)),
  median,
  lower: median,
  upper: median,
  points: { t: [], y: [] },
  readings: 1000,
  pulses: 420,
});

const period = (values: number[], u: number): Pulses['period'] => ({
  atS: values.map((_, i) => i * 60),
  periodS: values,
  uncertaintyS: values.map(() => u),
});

describe('polling from nearby', () => {
  it('asks for each regime whose period is known', () => {
    const f = sampleFindings();
    expect(foldable(f)[0]!.query).toEqual({ quantity: 'current', startS: 60, endS: 20_000, periodS: 0.25 });
    expect(foldable(f)).toHaveLength(f.polling.regimes.filter((r) => r.periodS !== null).length);
    expect(foldable({ ...f, polling: { ...f.polling, seenIn: null } })).toEqual([]);
  });

  it('says height, floor and width of pulses and of dips', () => {
    const up = foldSentence(fold([0.02, 0.02, 0.12, 0.12, 0.12, null, 0.02, 0.02, 0.02, 0.02]), 'current');
    expect(up).toBe(
      '420 pulses over each other; 20.0 mA between them, 120 mA at their highest; about 30.0 ms wide as this meter sees them',
    );
    const dip = foldSentence(fold([12.5, 12.5, 12.4, 12.4, 12.5, 12.5, 12.5, 12.5, 12.5, 12.5]), 'voltage');
    expect(dip).toMatch(/12\.5 V between them, 12\.4 V at their lowest; about 20\.0 ms/);
  });

  it('says whether the period stands still, by no more than its scatter lets it', () => {
    expect(periodSentence(period(Array<number>(20).fill(0.8), 1e-4))).toMatch(/stands still at 0\.8000/);
    const grows = Array.from({ length: 20 }, (_, i) => 0.8 + i * 1e-4);
    expect(periodSentence(period(grows, 1e-5))).toMatch(/grows by 0\.19 % to the end/);
    expect(periodSentence(period(grows, 5e-3))).toMatch(/stands still/);
    expect(periodSentence(period([0.8, 0.8], 1e-5))).toMatch(/Too few/);
  });

  it('gives the budget its total with the uncertainty, and what that is a day', () => {
    const f = sampleFindings();
    const total = budgetTotal({
      ...f,
      draw: { ...f.draw, averageAfterSleepA: { value: 0.05, expandedUncertainty: 0.001 } },
    })!;
    expect(total.text).toBe('50.0 mA ± 1.0 mA');
    expect(total.aDay).toBe(', which is 1.20 Ah a day.');
    expect(budgetTotal({ ...f, draw: { ...f.draw, averageAfterSleepA: null } })).toBeNull();
  });
});
