import { describe, expect, it } from 'vitest';
import { curveOf } from '../../web/state/curve.ts';
import { describeView, extremesIn, markAt } from '../../web/state/describe.ts';
import { marksOf } from '../../web/state/marks.ts';
import { sampleDetail, sampleFindings, WHOLE } from './samples.ts';

const current = curveOf(
  {
    channelId: 1,
    quantity: 'current',
    raw: true,
    t: [10, 20, 30, 40],
    min: [0.02, 0.021, 1.5, 0.02],
    max: [0.02, 0.021, 1.5, 0.02],
  },
  'Clamp',
  [{ startS: 20, endS: 30 }],
  WHOLE,
);
const marks = marksOf(sampleDetail(), sampleFindings(), WHOLE.toS);
const { recording } = sampleDetail();

describe('the view in words', () => {
  it('says the span, what each curve does in it, and the marks', () => {
    const said = describeView([current], marks, { fromS: 0, toS: 60 }, recording);
    expect(said).toMatch(/^From .* to .*\. Current from 20\.0\u00a0mA to 1\.50\u00a0A\. Marks: /);
    expect(said).toContain('Shut-down step: 3.40 A to 1.50 A');
    expect(describeView([current], [], { fromS: 50, toS: 60 }, recording)).toMatch(
      /Current: no readings\. No marks\.$/,
    );
  });

  it('counts marks beyond the first few', () => {
    expect(describeView([], marks, WHOLE, recording)).toMatch(/; and \d+ more\.$/);
  });

  it('knows lowest and highest of the view only', () => {
    expect(extremesIn(current, { fromS: 0, toS: 25 })).toEqual({ low: 0.02, high: 0.021 });
    expect(extremesIn(current, { fromS: 21, toS: 29 })).toBeNull();
  });
});

describe('the mark under the cursor', () => {
  it('is the nearest moment in reach', () => {
    expect(markAt(marks, 43, 5)?.kind).toBe('step');
    expect(markAt(marks, 43, 2)).toBeNull();
  });

  it('is a gap anywhere within it, with its reason', () => {
    const gap = markAt(marks, 8150, 1);
    expect(gap?.kind).toBe('gap');
    expect(gap?.title).toMatch(/^Gap of/);
    expect(markAt(marks, 8300, 1)?.kind).not.toBe('gap');
  });
});
