import { expect, it } from 'vitest';
import { curveOf, extremes, gapsByChannel, joinSpans, readAt } from '../../web/state/curve.ts';
import { stripPath } from '../../web/state/strip.ts';
import { sampleDetail, sampleFindings, WHOLE } from './samples.ts';

const channel = (t: number[], y: number[], quantity: 'current' | 'voltage' = 'current') => ({
  channelId: 1,
  quantity,
  raw: true,
  t,
  min: y,
  max: y,
});

it('breaks the line at a gap and nowhere else', () => {
  const c = curveOf(channel([1, 2, 3, 20, 21], [1, 1, 1, 2, 2]), 'Current', [{ startS: 3, endS: 20 }], WHOLE);
  expect(c.t).toEqual([1, 2, 3, 11.5, 20, 21]);
  expect(c.low).toEqual([1, 1, 1, null, 2, 2]);
  expect(c.high[3]).toBeNull();
  expect(curveOf(channel([1, 2, 3, 20, 21], [1, 1, 1, 2, 2]), 'Current', [], WHOLE).low).not.toContain(null);
});

it('breaks it although buckets round the edges of the gap away', () => {
  const c = curveOf(channel([5, 15, 45, 55], [1, 1, 1, 1]), 'Current', [{ startS: 12, endS: 48 }], WHOLE);
  expect(c.low).toEqual([1, 1, null, 1, 1]);
});

it('does not break it for a gap that lies between two readings of a slow meter', () => {
  const c = curveOf(channel([0, 100, 200], [1, 1, 1]), 'Current', [{ startS: 300, endS: 400 }], WHOLE);
  expect(c.low).toEqual([1, 1, 1]);
});

it('keeps for drawing only the gaps in view', () => {
  const gaps = [
    { startS: 10, endS: 20 },
    { startS: 500, endS: 600 },
  ];
  expect(curveOf(channel([1], [1]), 'Current', gaps, { fromS: 0, toS: 100 }).gaps).toEqual([gaps[0]]);
});

it('joins spans that touch', () => {
  expect(
    joinSpans([
      { startS: 5, endS: 9 },
      { startS: 1, endS: 3 },
      { startS: 3, endS: 4 },
      { startS: 8, endS: 12 },
      { startS: 20, endS: 20 },
    ]),
  ).toEqual([
    { startS: 1, endS: 4 },
    { startS: 5, endS: 12 },
  ]);
});

it('takes gaps from the log and the findings to their channels', () => {
  const gaps = gapsByChannel(sampleDetail(), sampleFindings());
  expect(gaps.get(1)).toEqual([{ startS: 8000, endS: 8200 }]);
  expect(gaps.get(2)).toEqual([{ startS: 12_000, endS: 12_060 }]);
  expect(gapsByChannel(sampleDetail(), null).get(1)).toEqual([{ startS: 8050, endS: 8200 }]);
});

it('reads the nearest point under the cursor, and nothing in a gap', () => {
  const c = curveOf(channel([1, 2, 3, 20, 21], [1, 2, 3, 4, 5]), 'Current', [{ startS: 3, endS: 20 }], WHOLE);
  expect(readAt(c, 2.4, 1)).toEqual({ low: 2, high: 2 });
  expect(readAt(c, 2.6, 1)).toEqual({ low: 3, high: 3 });
  expect(readAt(c, 11, 1)).toBeNull();
  expect(readAt(c, 30, 1)).toBeNull();
  expect(readAt(curveOf(channel([], []), 'Current', [], WHOLE), 1, 1)).toBeNull();
});

it('finds the extremes', () => {
  expect(extremes(curveOf(channel([1, 2, 3], [4, -1, 2]), 'Current', [], WHOLE))).toEqual({
    min: -1,
    max: 4,
  });
  expect(extremes(curveOf(channel([], []), 'Current', [], WHOLE))).toEqual({ min: null, max: null });
});

it('draws the silhouette of a night: current where there is one, from zero up', () => {
  const chart = {
    fromS: 0,
    toS: 100,
    channels: [channel([0, 50, 100], [12, 12.1, 12], 'voltage'), channel([0, 50, 100], [0, 1, 10])],
  };
  const path = stripPath(chart)!;
  expect(path.quantity).toBe('current');
  // 39 - 38 asinh(100) / asinh(1000) = 12.5
  expect(path.peaks).toBe('M0 39L0 39L120 12.5L240 1L240 39Z');
  expect(stripPath({ ...chart, channels: [chart.channels[0]!] })!.quantity).toBe('voltage');
  expect(stripPath({ ...chart, channels: [] })).toBeNull();
});
