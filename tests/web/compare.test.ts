import { describe, expect, it } from 'vitest';
import { compareFindings } from '../../server/battery/compare.ts';
import { compareChoices } from '../../web/state/compareChoices.ts';
import { comparedRows, compareNights } from '../../web/state/comparison.ts';
import { hashOf, placeOf, routeOf } from '../../web/state/route.ts';
import { sampleDetail, sampleFindings } from './samples.ts';

const night = (averageA: number, u: number, restV: number) => {
  const f = sampleFindings();
  return {
    detail: sampleDetail(),
    findings: {
      ...f,
      draw: { ...f.draw, averageAfterSleepA: { value: averageA, expandedUncertainty: u } },
      battery: { ...f.battery, restVoltageV: { value: restV, expandedUncertainty: 0.002 } },
    },
  };
};

describe('before and after', () => {
  it('is what the comparison of the findings says', () => {
    const [a, b] = [night(0.08, 0.001, 12.3), night(0.03, 0.001, 12.31)];
    const title = a.detail.recording.title;
    expect(compareNights(a, b)).toEqual(
      compareFindings({ title, findings: a.findings }, { title, findings: b.findings }),
    );
  });

  it('puts both on one scale: a draw from zero, a level where its differences show', () => {
    const rows = comparedRows(compareNights(night(0.08, 0.001, 12.3), night(0.03, 0.001, 12.35)));
    const draw = rows.find((r) => r.label === 'Average after sleep')!;
    expect(draw.after.at / draw.before.at).toBeCloseTo(0.03 / 0.08, 6);
    expect(draw.before.at - draw.before.from).toBeCloseTo(draw.before.to - draw.before.at, 6);
    expect(draw.change).toBe('fell by 50.0 mA ± 1.4 mA');
    expect(draw.before.text).toBe('80.0 mA ± 1.0 mA');
    const rest = rows.find((r) => r.label === 'Rest voltage')!;
    expect(rest.after.at - rest.before.at).toBeGreaterThan(0.5);
    for (const { before, after } of rows)
      for (const p of [before, after])
        expect(p.from >= 0 && p.from <= p.at && p.at <= p.to && p.to <= 1).toBe(true);
  });

  it('says nothing of a change that the uncertainty covers', () => {
    const rows = comparedRows(compareNights(night(0.031, 0.002, 12.3), night(0.03, 0.002, 12.3)));
    const draw = rows.find((r) => r.label === 'Average after sleep')!;
    expect(draw.verdict).toBe('unclear');
    expect(draw.change).toMatch(/^no change that these nights can show/);
  });

  it('offers the other recordings, nearest in length first, the earlier one as the one before', () => {
    const { recording } = sampleDetail();
    const other = (id: string, durationMs: number, startedAt: string | null) => ({
      ...recording,
      id,
      durationMs,
      startedAt,
    });
    const one = other('aaaa', 8 * 3600_000, '2025-03-04T21:00:00.000Z');
    const choices = compareChoices(one, [
      one,
      other('bbbb', 600_000, '2025-03-01T21:00:00.000Z'),
      other('cccc', 9 * 3600_000, '2025-03-05T21:00:00.000Z'),
      other('dddd', 0, null),
    ]);
    expect(choices.map((c) => [c.id, c.before, c.after])).toEqual([
      ['cccc', 'aaaa', 'cccc'],
      ['bbbb', 'bbbb', 'aaaa'],
    ]);
    expect(choices[0]!.label).toContain('9 h');
  });

  it('has an address', () => {
    const route = { page: 'compare', before: 'abcd1234', after: 'wxyz9876' } as const;
    expect(hashOf(route)).toBe('#/compare/abcd1234/wxyz9876');
    expect(routeOf(hashOf(route))).toEqual(route);
    expect(placeOf(route)).toBe('recordings');
    expect(routeOf('#/compare/abcd1234')).toEqual({ page: 'lost' });
    expect(routeOf('#/compare/abcd1234/..')).toEqual({ page: 'lost' });
  });
});
