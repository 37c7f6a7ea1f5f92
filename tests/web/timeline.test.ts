import { expect, it } from 'vitest';
import { caseTimelineSchema } from '../../server/messages/casePapers.ts';
import { checklistLines, daysOf, sittingText, ticksText, zeroText } from '../../web/state/timeline.ts';
import { sampleDetail } from './samples.ts';

const { recording } = sampleDetail();
const CHECKLIST = {
  ticks: [{ id: 'locked' as const, at: '2025-03-04T20:58:00.000Z' }],
  found: [
    {
      id: 'disk' as const,
      verdict: 'fine' as const,
      text: '12 GB free.',
      value: 12e9,
      at: '2025-03-04T20:59:00.000Z',
    },
  ],
};
const ZERO = {
  meterKey: 'virtual:clamp',
  key: 'a',
  quantity: 'current' as const,
  takenAt: '2025-03-04T20:50:00.000Z',
  atMs: -600_000,
  durationMs: 5000,
  readings: 25,
  mean: -0.012,
  scatter: 0.003,
  standardUncertainty: 0.001,
};
const tried = (atS: number, at: string, outcome: 'opened' | 'button-only') => ({
  recordingId: recording.id,
  recordingTitle: 'Night',
  atS,
  at,
  outcome,
  text: '',
  dip: null,
});

const all = caseTimelineSchema.parse({
  recordings: [
    {
      recording,
      events: [
        { atMs: 0, kind: 'started', text: '', value: null },
        { atMs: 3_600_000, kind: 'note', text: 'rain', value: null },
      ],
      zeroChecks: [ZERO],
      checklist: CHECKLIST,
    },
  ],
  attempts: {
    caseId: 'aaaa',
    attempts: [
      tried(100, '2025-03-04T21:01:40.000Z', 'opened'),
      tried(200, '2025-03-04T21:03:20.000Z', 'button-only'),
      tried(30_000, '2025-03-05T05:20:00.000Z', 'button-only'),
    ],
    threshold: {
      method: 'none',
      thresholdV: null,
      bracketV: [null, null],
      intercept: null,
      slope: null,
      intervalV: null,
      chance: null,
      tries: 3,
      worked: 1,
      says: [],
    },
    measured: null,
  },
  photos: [],
  notes: [{ id: 'note1234', caseId: 'aaaa', addedAt: '2025-03-05T08:00:00.000Z', text: 'flat again' }],
});

it('puts everything on one time, by days, newest first, by the clock of the car', () => {
  const days = daysOf(all, 'Europe/London');
  expect(days.map((d) => [d.day, d.entries.map((e) => `${e.clock} ${e.kind}`)])).toEqual([
    ['Wed 5 Mar 2025', ['08:00 note', '05:20 attempts']],
    ['Tue 4 Mar 2025', ['22:00 remark', '21:03 attempts', '21:00 recording', '20:59 ticks', '20:50 zero']],
  ]);
  const sitting = days[1]!.entries.find((e) => e.kind === 'attempts')!;
  expect(sitting.kind === 'attempts' && sittingText(sitting.rows)).toBe(
    '2 tries: 1 button only, 1 it opened',
  );
});

it('keeps what has no date, at the end', () => {
  const undated = structuredClone(all);
  undated.recordings[0]!.recording.startedAt = null;
  undated.recordings[0]!.checklist = null;
  const days = daysOf(undated, null);
  expect(days.at(-1)!.day).toBe('No date');
  expect(days.at(-1)!.entries.map((e) => e.kind)).toEqual(['recording', 'remark']);
});

it('says what was ticked, when, and what was left open', () => {
  const { text, left } = ticksText(CHECKLIST);
  expect(text).toBe('1 of 11 seen to');
  expect(left).toHaveLength(10);
  const lines = checklistLines(CHECKLIST, 'Europe/London');
  expect(lines.filter((l) => l.clock !== '').map((l) => [l.id, l.clock, l.found])).toEqual([
    ['locked', '20:58', null],
    ['disk', '20:59', '12 GB free.'],
  ]);
});

it('says a zero check with its sign', () => {
  expect(zeroText(ZERO)).toMatch(/^-12(\.0+)? mA with nothing to measure, scatter 3\.?0* mA, 25 readings$/);
});
