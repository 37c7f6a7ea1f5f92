import { describe, expect, it } from 'vitest';
import type { CaseAttempt, CaseAttempts, Dip, Threshold } from '../../server/messages/attempts.ts';
import {
  AttemptBook,
  attemptRows,
  dipText,
  keepingText,
  thresholdView,
  toneOf,
  withoutCommonNotes,
} from '../../web/state/attempts.ts';
import type { Attempt } from '../../web/state/live.ts';

const estimate = (value: number, expandedUncertainty: number) => ({ value, expandedUncertainty });
const attempt = (number: number): Attempt => ({
  number,
  outcome: 'opened',
  atMs: number * 1000,
  lowestV: 12,
});

const DIP: Dip = {
  restV: estimate(12.408, 0.002),
  lowestV: 11.871,
  depthV: estimate(0.537, 0.004),
  recoveryS: estimate(0.42, 0.06),
  peakA: estimate(12.13, 0.05),
  sourceResistanceOhm: estimate(0.0253, 0.0012),
  notes: [],
};

describe('the book of attempts', () => {
  it('knows which are held by a recording, and which by this page only', () => {
    const book = new AttemptBook();
    book.add(attempt(1), []);
    book.add(attempt(2), ['abcd1234']);
    expect(book.notRecorded().map((h) => [h.attempt.number, keepingText(h.keeping)])).toEqual([
      [2, 'being recorded'],
      [1, 'in this page only: no recording ran'],
    ]);
    book.note(2, { kind: 'recorded' });
    expect(book.notRecorded().map((h) => h.attempt.number)).toEqual([1]);
  });

  it('sends what the server did not take once more, and only once at a time', () => {
    const book = new AttemptBook();
    book.add(attempt(1), ['abcd1234']);
    book.note(1, { kind: 'waiting' });
    expect(book.takeWaiting().map((h) => h.attempt.atMs)).toEqual([1000]);
    expect(book.takeWaiting()).toEqual([]);
    book.note(1, { kind: 'refused', sentence: 'The recording is not running any more.' });
    expect(keepingText(book.notRecorded()[0]!.keeping)).toBe('The recording is not running any more.');
  });
});

describe('a dip in one line', () => {
  it('says what was measured', () => {
    expect(dipText(DIP)).toBe(
      '12.41 V to 11.87 V, back in 0.420 s, peak 12.1 A, source 25.3 mohm ± 1.2 mohm',
    );
  });
  it('leaves out what was not', () => {
    expect(dipText({ ...DIP, peakA: null, sourceResistanceOhm: null, recoveryS: null })).toBe(
      '12.41 V to 11.87 V',
    );
    expect(dipText({ ...DIP, depthV: null })).toBe('12.41 V, no dip seen');
    expect(dipText({ ...DIP, depthV: null, restV: null })).toBe('11.87 V');
    expect(dipText({ ...DIP, depthV: null, restV: null, lowestV: null })).toBe('');
  });
});

const THRESHOLD: Threshold = {
  method: 'logistic',
  thresholdV: estimate(11.74, 0.11),
  bracketV: [11.5, 11.9],
  intercept: -90,
  slope: 8,
  intervalV: [11.65, 11.85],
  chance: 0.004,
  tries: 9,
  worked: 5,
  says: ['5 of 9 tries worked.'],
};
const TRY: CaseAttempt = {
  recordingId: 'abcd1234',
  recordingTitle: 'Watch',
  atS: 20,
  at: null,
  outcome: 'opened',
  text: '',
  dip: DIP,
};
const ALL: CaseAttempts = {
  caseId: 'case1234',
  attempts: [
    { ...TRY, outcome: null, text: 'no answer', dip: null },
    TRY,
    { ...TRY, atS: 60, outcome: 'nothing' },
  ],
  threshold: THRESHOLD,
  measured: null,
};

describe('recorded attempts', () => {
  it('are numbered as they were made and shown newest first; an old one keeps its words', () => {
    expect(attemptRows(ALL).map((r) => [r.number, r.label])).toEqual([
      [3, 'Nothing'],
      [2, 'It opened'],
      [1, 'no answer'],
    ]);
    expect(attemptRows(ALL)[2]!.figures).toBe('');
  });

  it('say once what is true of all of them', () => {
    const slow = { ...TRY, dip: { ...DIP, notes: ['Slow.'] } };
    const rows = attemptRows({
      ...ALL,
      attempts: [slow, { ...slow, atS: 90, dip: { ...DIP, notes: ['Slow.', 'Own.'] } }],
    });
    const told = withoutCommonNotes(rows);
    expect([told.common, told.rows.map((r) => r.notes)]).toEqual([['Slow.'], [['Own.'], []]]);
    expect(withoutCommonNotes(rows.slice(0, 1)).common).toEqual([]);
    expect([toneOf('nothing'), toneOf('locked-by-touch'), toneOf(null)]).toEqual([
      'try-failed',
      'try-worked',
      'try-unsaid',
    ]);
  });

  it('give a threshold that can be taken over once', () => {
    const view = thresholdView(ALL);
    expect([view.headline, view.canTake, view.inUse]).toEqual([
      "This car's threshold: 11.74 V ± 0.11 V",
      true,
      null,
    ]);
    const measured = {
      thresholdV: 11.74,
      expandedUncertaintyV: 0.11,
      method: 'logistic',
      tries: 9,
      takenAt: '2026-01-05T21:13:01.500Z',
    } as const;
    const taken = thresholdView({ ...ALL, measured });
    expect([taken.canTake, taken.inUse]).toEqual([
      false,
      "11.74 V ± 0.11 V from 9 tries is in use for this car's findings.",
    ]);
    expect(thresholdView({ ...ALL, measured: { ...measured, thresholdV: 11.9 } }).canTake).toBe(true);
  });

  it('without a case, without a figure or the wrong way round give none to take', () => {
    expect(thresholdView({ ...ALL, caseId: null }).canTake).toBe(false);
    for (const threshold of [
      { ...THRESHOLD, thresholdV: null },
      { ...THRESHOLD, slope: -8 },
    ]) {
      const view = thresholdView({ ...ALL, threshold });
      expect([view.canTake, view.headline]).toEqual([false, "This car's threshold is not known yet"]);
    }
  });

  it('lie on a line of volts with the interval between them', () => {
    const low = { ...TRY, outcome: 'button-only', dip: { ...DIP, restV: estimate(11.2, 0.01) } } as const;
    const line = thresholdView({ ...ALL, attempts: [TRY, low] }).line!;
    expect(line.tries.map((t) => t.worked)).toEqual([true, false]);
    expect(line.tries[0]!.at).toBeGreaterThan(line.tries[1]!.at);
    expect(line.band![0]).toBeLessThan(line.middle!);
    expect(line.middle!).toBeLessThan(line.band![1]);
    expect(thresholdView({ ...ALL, attempts: [TRY] }).line).toBeNull();
  });
});
