import { durationText, estimateText } from '../messages/figures.ts';
import type { Findings } from '../messages/findings.ts';
import type { Gap, RecordingEvent } from '../messages/records.ts';

/** Something that has a place on the time axis of the report's chart. */
export interface ReportMark {
  readonly lane: 'Sleep' | 'Polling' | 'Wake-ups' | 'Log';
  readonly startS: number;
  readonly endS: number;
  readonly label: string;
}

export const LANES = ['Sleep', 'Polling', 'Wake-ups', 'Log'] as const;

export function marksOf(
  f: Findings,
  events: readonly RecordingEvent[],
  gaps: readonly Gap[],
  durationS: number,
): ReportMark[] {
  const { state, timeToSleepS } = f.sleep;
  const asleepFrom = state === 'slept' ? timeToSleepS : state === 'asleep-from-start' ? 0 : null;
  return [
    ...(asleepFrom === null
      ? []
      : [
          {
            lane: 'Sleep' as const,
            startS: asleepFrom,
            endS: durationS,
            label: `asleep from ${durationText(asleepFrom)}`,
          },
        ]),
    ...f.polling.regimes.map((r) => ({
      lane: 'Polling' as const,
      startS: r.startS,
      endS: r.endS,
      label:
        r.periodS === null ? 'pulses' : `every ${(estimateText(r.periodS, 'period') ?? '').split(' ±')[0]!}`,
    })),
    ...f.wakeUps.map((w) => ({
      lane: 'Wake-ups' as const,
      startS: w.startS,
      endS: w.startS + w.durationS,
      label: '',
    })),
    ...gaps.map((g) => ({
      lane: 'Log' as const,
      startS: g.startMs / 1000,
      endS: g.endMs / 1000,
      label: 'gap',
    })),
    ...events
      .filter((e) => e.kind === 'attempt' || e.kind === 'clock-step')
      .map((e) => ({
        lane: 'Log' as const,
        startS: e.atMs / 1000,
        endS: e.atMs / 1000,
        label: e.kind === 'attempt' ? 'try' : 'clock',
      })),
  ];
}
