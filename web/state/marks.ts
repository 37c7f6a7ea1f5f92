import { durationText, estimateText, figureText } from '../../server/messages/figures.ts';
import type { Findings, Regime } from '../../server/messages/findings.ts';
import type { RecordingDetail } from '../../server/messages/http.ts';
import type { Gap } from '../../server/messages/records.ts';
import { joinSpans } from './curve.ts';

/** Rows above the chart, in the order of a night. */
export const LANES = [
  { lane: 'sleep', label: 'Sleep' },
  { lane: 'steps', label: 'Steps' },
  { lane: 'polling', label: 'Polling' },
  { lane: 'wake-ups', label: 'Wake-ups' },
  { lane: 'log', label: 'Log' },
] as const;
export type Lane = (typeof LANES)[number]['lane'];

export type MarkKind =
  | 'awake'
  | 'asleep'
  | 'step'
  | 'regime'
  | 'polling-stopped'
  | 'wake-up'
  | 'attempt'
  | 'note'
  | 'gap'
  | 'clock-step';

/** Something the findings or the log place on the time axis. */
export interface Mark {
  readonly id: string;
  readonly kind: MarkKind;
  readonly lane: Lane;
  readonly startS: number;
  /** Equal to `startS` for a moment. */
  readonly endS: number;
  /** A word or two, shown where there is room. */
  readonly label: string;
  /** The whole story, for pointer, screen reader and list. */
  readonly title: string;
}

/** All marks of a recording, each lane in order of time. */
export function marksOf(detail: RecordingDetail, findings: Findings | null, durationS: number): Mark[] {
  return [
    ...(findings === null
      ? []
      : [...sleepMarks(findings, durationS), ...pollingMarks(findings), ...wakeUpMarks(findings)]),
    ...logMarks(detail, findings),
  ];
}

function sleepMarks(f: Findings, durationS: number): Mark[] {
  const out: Mark[] = [];
  const { state, timeToSleepS } = f.sleep;
  const span = (kind: 'awake' | 'asleep', startS: number, endS: number, title: string): void => {
    if (endS > startS)
      out.push({
        id: kind,
        kind,
        lane: 'sleep',
        startS,
        endS,
        label: kind === 'awake' ? 'Awake' : 'Asleep',
        title,
      });
  };
  if (state === 'slept' && timeToSleepS !== null) {
    span('awake', 0, timeToSleepS, `Awake for ${durationText(timeToSleepS)}`);
    span('asleep', timeToSleepS, durationS, `Asleep from ${durationText(timeToSleepS)} on`);
  } else if (state === 'asleep-from-start') span('asleep', 0, durationS, 'Asleep from the start');
  else if (state === 'never-slept') span('awake', 0, durationS, 'Awake to the end');
  f.sleep.steps.forEach((s, i) =>
    out.push({
      id: `step-${i}`,
      kind: 'step',
      lane: 'steps',
      startS: s.atS,
      endS: s.atS,
      label: `${figureText(s.fromA, 'current')} to ${figureText(s.toA, 'current')}`,
      title: `${s.toA < s.fromA ? 'Shut-down step' : 'Step up'}: ${figureText(s.fromA, 'current')} to ${figureText(s.toA, 'current')}`,
    }),
  );
  return out;
}

/** "every 0.25 s"; a regime whose period could not be measured is just "pulses". */
export function regimeLabel(r: Regime): string {
  return r.periodS === null ? 'pulses' : `every ${shortPeriod(r.periodS.value)}`;
}

function shortPeriod(s: number): string {
  return s < 120 ? `${Number(s.toPrecision(3))} s` : durationText(s);
}

function pollingMarks(f: Findings): Mark[] {
  const out: Mark[] = f.polling.regimes.map((r, i) => {
    const period = estimateText(r.periodS, 'period');
    const average = estimateText(r.averageA, 'current');
    const figures = [
      period === null ? 'Pulses' : `A pulse every ${period}`,
      `${r.pulses} pulses`,
      ...(average === null ? [] : [`${average} on average`]),
    ];
    return {
      id: `regime-${i}`,
      kind: 'regime',
      lane: 'polling',
      startS: r.startS,
      endS: r.endS,
      label: regimeLabel(r),
      title: `Polling: ${figures.join(', ')}`,
    };
  });
  if (f.polling.stoppedAtS !== null)
    out.push({
      id: 'polling-stopped',
      kind: 'polling-stopped',
      lane: 'polling',
      startS: f.polling.stoppedAtS,
      endS: f.polling.stoppedAtS,
      label: 'stopped',
      title: 'Polling stopped',
    });
  return out;
}

function wakeUpMarks(f: Findings): Mark[] {
  return f.wakeUps.map((w, i) => ({
    id: `wake-${i}`,
    kind: 'wake-up',
    lane: 'wake-ups',
    startS: w.startS,
    endS: w.startS + w.durationS,
    label: `${i + 1}`,
    title: `Wake-up ${i + 1}: ${durationText(w.durationS)}, up to ${figureText(w.peakA, 'current')}, ${figureText(w.chargeC, 'charge')}`,
  }));
}

const GAP_WORDS: Readonly<Record<Gap['reason'], string>> = {
  dropped: 'connection lost',
  'meter-ended': 'the meter switched itself off',
  damaged: 'stored readings damaged',
  silent: 'meter silent',
  'packet-lost': 'readings lost on the way',
  'disk-full': 'disk full',
  'server-down': 'server away',
  'computer-slept': 'computer slept',
  'link-died': 'radio restarted',
  overrun: 'too many readings at once',
  unknown: 'no readings',
};

/** Why nothing was read, in a technician's words. */
export function gapWord(reason: Gap['reason']): string {
  return GAP_WORDS[reason];
}

function logMarks(detail: RecordingDetail, f: Findings | null): Mark[] {
  const logged = detail.gaps.map((g) => ({
    startS: g.startMs / 1000,
    endS: g.endMs / 1000,
    reason: g.reason,
  }));
  const seen = (f?.recording.channels ?? []).flatMap((c) => c.gaps);
  const gaps: Mark[] = joinSpans([...logged, ...seen]).map((span, i) => {
    const reasons = new Set(
      logged.filter((g) => g.startS < span.endS && g.endS > span.startS).map((g) => gapWord(g.reason)),
    );
    return {
      id: `gap-${i}`,
      kind: 'gap',
      lane: 'log',
      ...span,
      label: 'gap',
      title: `Gap of ${durationText(span.endS - span.startS)}${reasons.size > 0 ? `: ${[...reasons].join(', ')}` : ''}`,
    };
  });
  let attempts = 0;
  const events: Mark[] = detail.events.flatMap((e, i): Mark[] => {
    const at = { startS: e.atMs / 1000, endS: e.atMs / 1000, lane: 'log' as const, id: `event-${i}` };
    if (e.kind === 'attempt') {
      attempts++;
      return [
        {
          ...at,
          kind: 'attempt',
          label: `try ${attempts}`,
          title: `Attempt ${attempts}${e.text === '' ? '' : `: ${e.text}`}`,
        },
      ];
    }
    if (e.kind === 'note') return [{ ...at, kind: 'note', label: 'note', title: `Note: ${e.text}` }];
    if (e.kind === 'clock-step')
      return [{ ...at, kind: 'clock-step', label: 'clock', title: e.text || 'The clock was set' }];
    return [];
  });
  return [...gaps, ...events].sort((a, b) => a.startS - b.startS);
}
