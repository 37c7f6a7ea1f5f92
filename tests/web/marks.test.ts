import { describe, expect, it } from 'vitest';
import { GAP_REASONS } from '../../server/messages/records.ts';
import { placeMarks, tracksOf } from '../../web/state/markPlaces.ts';
import { gapWord, marksOf, regimeLabel, type Mark } from '../../web/state/marks.ts';
import { sampleDetail, sampleFindings, WHOLE } from './samples.ts';

const marks = marksOf(sampleDetail(), sampleFindings(), WHOLE.toS);
const of = (kind: Mark['kind']) => marks.filter((m) => m.kind === kind);

describe('marks of a night', () => {
  it('show when it was awake and asleep, and each step', () => {
    expect(of('awake')).toMatchObject([{ startS: 0, endS: 900 }]);
    expect(of('asleep')).toMatchObject([{ startS: 900, endS: 36_000, label: 'Asleep' }]);
    expect(of('step').map((m) => m.startS)).toEqual([40, 900]);
    expect(of('step')[1]!.title).toBe('Shut-down step: 330 mA to 21.0 mA');
  });

  it('show each polling rate by its period, and where it stopped', () => {
    expect(of('regime').map((m) => m.label)).toEqual(['every 0.25 s', 'every 0.75 s']);
    expect(of('regime')[0]!.title).toContain('79760 pulses');
    expect(of('polling-stopped')).toMatchObject([{ startS: 30_000 }]);
  });

  it('show wake-ups with what they cost', () => {
    expect(of('wake-up')).toHaveLength(3);
    expect(of('wake-up')[0]!.title).toBe('Wake-up 1: 40 s, up to 900 mA, 3.33 mAh');
  });

  it('join gaps of the log and of the analysis, and say why', () => {
    expect(of('gap')).toMatchObject([
      { startS: 8000, endS: 8200, title: 'Gap of 3 min 20 s: connection lost' },
      { startS: 12_000, endS: 12_060, title: 'Gap of 1 min: meter silent' },
    ]);
  });

  it('number attempts and keep notes and clock changes', () => {
    expect(of('attempt').map((m) => m.title)).toEqual(['Attempt 1: no answer, lowest 11.900 V', 'Attempt 2']);
    expect(of('note')[0]!.title).toBe('Note: rain');
    expect(of('clock-step')[0]!.title).toBe('Clock set back by 2 s.');
  });

  it('have ids of their own', () => {
    expect(new Set(marks.map((m) => m.id)).size).toBe(marks.length);
  });

  it('claim no sleep where none was found', () => {
    const never = marksOf(
      sampleDetail(),
      sampleFindings({
        sleep: { state: 'undetermined', timeToSleepS: null, steps: [], settledBaselineA: null },
      }),
      WHOLE.toS,
    );
    expect(never.some((m) => m.lane === 'sleep')).toBe(false);
    expect(marksOf(sampleDetail(), null, WHOLE.toS).every((m) => m.lane === 'log')).toBe(true);
  });
});

describe('placing marks', () => {
  it('uses shares of the window and leaves out what lies outside', () => {
    const placed = placeMarks(of('regime'), { fromS: 10_000, toS: 30_000 }, 0.02);
    expect(placed).toMatchObject([
      { left: 0, width: 0.5 },
      { left: 0.5, width: 0.5 },
    ]);
    expect(placeMarks(of('wake-up'), { fromS: 0, toS: 5000 }, 0.02)).toEqual([]);
  });

  it('makes one mark of moments that would cover one another, and says how many', () => {
    const [one, ...rest] = placeMarks(of('wake-up'), WHOLE, 0.1);
    expect(rest).toEqual([]);
    expect(one).toMatchObject({
      count: 3,
      mark: { startS: 10_000, endS: 11_240, label: '3', title: '3 wake-ups' },
    });
  });

  it('keeps them apart when there is room', () => {
    expect(placeMarks(of('wake-up'), { fromS: 9900, toS: 11_400 }, 0.05).map((p) => p.count)).toEqual([
      1, 1, 1,
    ]);
  });

  it('gives overlapping pulse trains a track each, and following ones the same', () => {
    const train = (id: string, startS: number, endS: number): Mark => ({
      ...of('regime')[0]!,
      id,
      startS,
      endS,
    });
    const tracks = tracksOf([
      train('a', 0, 100),
      train('b', 50, 300),
      train('c', 99, 200),
      train('d', 320, 330),
    ]);
    expect(tracks.map((t) => t.map((m) => m.id))).toEqual([['a', 'c', 'd'], ['b']]);
  });
});

it('has a word of its own for each reason of a gap', () => {
  expect(new Set(GAP_REASONS.map(gapWord)).size).toBe(GAP_REASONS.length);
});

it('names a rate by three digits, and long periods by their length', () => {
  const r = sampleFindings().polling.regimes[0]!;
  expect(regimeLabel({ ...r, periodS: { value: 0.30042, expandedUncertainty: 1e-5 } })).toBe('every 0.3 s');
  expect(regimeLabel({ ...r, periodS: { value: 600, expandedUncertainty: 1 } })).toBe('every 10 min');
  expect(regimeLabel({ ...r, periodS: null })).toBe('pulses');
});
