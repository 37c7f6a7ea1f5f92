import { durationText, estimateText, figureText } from '../messages/figures.ts';
import type { Findings } from '../messages/findings.ts';
import { carRows } from './car.ts';
import type { ReportInput } from './input.ts';

/** The car and the recording: name and text. */
export function aboutRows({ case: c, recording }: ReportInput): string[][] {
  return [
    ...(c === null ? [] : carRows(c)),
    ['Recording', recording.title],
    ['Started', recording.startedAt === null ? 'not known' : timeText(recording.startedAt, recording.zone)],
    ['Length', durationText(recording.durationMs / 1000)],
  ]
    .filter(([, text]) => text !== '')
    .map((row) => [...row]);
}

/** Date and time in the recording's own zone, and which that is. */
export function timeText(iso: string, zone: string | null): string {
  const zoneUsed = zone ?? 'UTC';
  try {
    const text = new Intl.DateTimeFormat('en-GB', {
      dateStyle: 'medium',
      timeStyle: 'short',
      timeZone: zoneUsed,
    }).format(new Date(iso));
    return `${text} (${zoneUsed})`;
  } catch {
    return `${iso.slice(0, 16).replace('T', ' ')} (UTC)`;
  }
}

/** Headline figures: name, value with its uncertainty, what it means. */
export function figureRows(f: Findings): string[][] {
  const none = 'not found';
  const b = f.battery;
  const polls = f.polling.regimes.at(-1)?.periodS ?? null;
  const WHENCE = {
    default: 'usual figure',
    set: 'set for this car',
    'measured-on-this-car': 'measured on this car',
  };
  const sleeps = {
    slept: durationText(f.sleep.timeToSleepS ?? 0),
    'asleep-from-start': 'asleep from the start',
    'never-slept': 'never slept',
    undetermined: 'cannot be said',
  };
  const polling = {
    resolved: estimateText(polls, 'period') ?? none,
    stopped: `${estimateText(polls, 'period') ?? none}, then stopped`,
    unresolved: 'too fast for this meter to time',
    absent: 'none',
    undetermined: 'cannot be said',
  };
  return [
    [
      'Rest voltage',
      estimateText(b.restVoltageV, 'voltage') ?? none,
      `unreliable below ${b.thresholdV.toFixed(2)} V (${WHENCE[b.thresholdFrom]})`,
    ],
    ['State of charge', estimateText(b.stateOfCharge, 'percent') ?? none, b.table],
    [
      'Average draw after sleep',
      estimateText(f.draw.averageAfterSleepA, 'current') ?? none,
      'polling and wake-ups included',
    ],
    [
      'Settled draw',
      estimateText(f.sleep.settledBaselineA, 'current') ?? none,
      'between pulses and wake-ups',
    ],
    ['Time to sleep', sleeps[f.sleep.state], `${f.sleep.steps.length} shut-down steps`],
    [
      'Polling period',
      polling[f.polling.state],
      f.polling.seenIn === 'voltage' ? 'seen as dips in the voltage' : '',
    ],
    [
      'Wake-ups',
      String(f.wakeUps.length),
      f.wakeUps.length === 0
        ? ''
        : `${figureText(
            f.wakeUps.reduce((n, w) => n + w.chargeC, 0),
            'charge',
          )} in all`,
    ],
    ['Days to the unreliable zone', estimateText(b.daysToUnreliable, 'days') ?? none, 'at this draw'],
  ];
}
