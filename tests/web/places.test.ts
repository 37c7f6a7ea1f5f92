import { expect, it } from 'vitest';
import { FLAG_CODES } from '../../server/messages/findings.ts';
import { asleepWindow, placeOfFlag, placeOfMoment } from '../../web/state/places.ts';
import { keyFigures } from '../../web/state/keyFigures.ts';
import { budgetParts, regimeTable, stepTable, wakeUpTable } from '../../web/state/tables.ts';
import { spanOf } from '../../web/state/window.ts';
import { sampleFindings, WHOLE } from './samples.ts';

const f = sampleFindings();
const begin = { startedAt: f.recording.startedAt, zone: 'Europe/London' };

it('leads every flag to a place inside the recording, or nowhere', () => {
  for (const code of FLAG_CODES) {
    const place = placeOfFlag(code, f, WHOLE);
    if (place === null) continue;
    expect(place.fromS, code).toBeGreaterThanOrEqual(0);
    expect(place.toS, code).toBeLessThanOrEqual(WHOLE.toS);
    expect(spanOf(place), code).toBeGreaterThan(0);
  }
});

it('leads flags to what they speak of', () => {
  const wake = placeOfFlag('keeps-waking', f, WHOLE)!;
  expect(wake.fromS).toBeLessThan(10_000);
  expect(wake.toS).toBeGreaterThan(11_240);
  expect(placeOfFlag('polling-stopped-normal', f, WHOLE)!.fromS).toBeLessThan(30_000);
  expect(placeOfFlag('draw-above-limit', f, WHOLE)).toEqual({ fromS: 900, toS: 36_000 });
  expect(placeOfFlag('battery-unreliable-zone', f, WHOLE)!.toS).toBe(36_000);
  expect(placeOfFlag('accuracy-not-stated', f, WHOLE)).toBeNull();
  expect(placeOfFlag('keeps-waking', sampleFindings({ wakeUps: [] }), WHOLE)).toBeNull();
});

it('shows a dozen pulses for a rate, the whole of a wake-up, minutes for a moment', () => {
  expect(spanOf(placeOfMoment(60, 'polling', f, WHOLE))).toBeCloseTo(4.5, 9);
  const wake = placeOfMoment(10_000, 'wake-ups', f, WHOLE);
  expect(wake.fromS).toBeLessThan(10_000);
  expect(wake.toS).toBeGreaterThan(10_040);
  expect(spanOf(placeOfMoment(900, 'sleep', f, WHOLE))).toBe(600);
});

it('offers sleep alone only where a part of the night was asleep', () => {
  expect(asleepWindow(f, WHOLE)).toEqual({ fromS: 900, toS: 36_000 });
  const always = sampleFindings({ sleep: { ...f.sleep, state: 'asleep-from-start', timeToSleepS: null } });
  expect(asleepWindow(always, WHOLE)).toBeNull();
});

it('lists rates, wake-ups and steps with their clock times', () => {
  expect(regimeTable(f, begin, WHOLE).rows[0]!.cells.slice(0, 3)).toEqual([
    '21:01:00',
    '02:33:20',
    '0.25000 s ± 0.00010 s',
  ]);
  expect(wakeUpTable(f, begin, WHOLE).rows).toHaveLength(3);
  expect(stepTable(f, begin, WHOLE).rows[1]!.cells).toEqual(['21:15:00', '330 mA', '21.0 mA']);
});

it('divides the draw into its parts', () => {
  const parts = budgetParts(f)!;
  expect(parts.reduce((s, p) => s + p.share, 0)).toBeCloseTo(1, 12);
  expect(parts.map((p) => p.text)).toEqual(['21.0 mA', '39.0 mA', '2.00 mA']);
  const unknown = { ...f.draw, budget: { baselineA: null, pollingA: null, wakeUpsA: null } };
  expect(budgetParts(sampleFindings({ draw: unknown }))).toBeNull();
});

it('puts the four figures with their uncertainty first', () => {
  const [rest, draw, sleep, polling] = keyFigures(f);
  expect(rest).toMatchObject({ main: '12.31 V', spread: '± 0.02 V', value: 12.31, zoneBelow: 12.2 });
  expect(rest!.note).toContain('the usual figure');
  expect(draw).toMatchObject({ name: 'Draw after sleep', quantity: 'current', value: 0.062 });
  expect(draw!.note).toContain('6 days ± 2 days');
  expect(sleep).toMatchObject({ main: '15 min', note: 'In 2 steps.' });
  expect(polling!.note).toBe('Then it stopped, after 8 h 20 min.');
});

it('counts no days to a zone that the battery is in already', () => {
  const low = sampleFindings({
    battery: { ...f.battery, restVoltageV: { value: 12.1, expandedUncertainty: 0.02 } },
  });
  expect(keyFigures(low)[1]!.note).toContain('in the unreliable zone already');
  expect(keyFigures(low)[1]!.note).not.toContain('days');
});

it('says in words what is not known, never a made-up figure', () => {
  const bare = sampleFindings({
    sleep: { state: 'undetermined', timeToSleepS: null, steps: [], settledBaselineA: null },
    polling: {
      state: 'unresolved',
      seenIn: 'current',
      stoppedAtS: null,
      candidatePeriodsS: [0.25],
      regimes: [],
    },
    draw: { ...f.draw, averageAfterSleepA: null },
    battery: { ...f.battery, restVoltageV: null, stateOfCharge: null, daysToUnreliable: null },
  });
  const figures = keyFigures(bare);
  expect(figures.map((k) => k.main)).toEqual(['–', '–', '–', 'Too fast to time']);
  for (const k of figures) expect(k.note.length).toBeGreaterThan(10);
  expect(figures[0]!.value).toBeNull();
});
