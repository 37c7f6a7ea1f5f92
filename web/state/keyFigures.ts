import { durationText, estimateText } from '../../server/messages/figures.ts';
import type { Findings } from '../../server/messages/findings.ts';

/** One headline figure of a recording. */
export interface KeyFigure {
  readonly name: string;
  readonly main: string;
  /** "± 0.8 mA", set smaller. */
  readonly spread: string | null;
  /** What it means, or why it is missing. */
  readonly note: string;
  /** For the dial; null shows none. */
  readonly quantity: 'voltage' | 'current' | null;
  readonly value: number | null;
  readonly zoneBelow: number | null;
}

const WHENCE = {
  default: 'the usual figure',
  set: 'as set for this car',
  'measured-on-this-car': 'as measured on this car',
} as const;

/** Rest voltage, draw after sleep, time to sleep and polling, in that order; none is ever left out silently. */
export function keyFigures(f: Findings): KeyFigure[] {
  return [restVoltage(f), draw(f), sleep(f), polling(f)];
}

function split(text: string | null): { main: string; spread: string | null } {
  if (text === null) return { main: '–', spread: null };
  const at = text.indexOf(' ± ');
  return at < 0 ? { main: text, spread: null } : { main: text.slice(0, at), spread: text.slice(at + 1) };
}

function restVoltage(f: Findings): KeyFigure {
  const b = f.battery;
  const charge = estimateText(b.stateOfCharge, 'percent');
  const zone = `Unreliable below ${b.thresholdV.toFixed(2)} V, ${WHENCE[b.thresholdFrom]}.`;
  return {
    name: 'Rest voltage',
    ...split(estimateText(b.restVoltageV, 'voltage')),
    note:
      b.restVoltageV === null
        ? `Not found in this recording. ${zone}`
        : `${charge === null ? '' : `Charge ${charge} by ${b.table}. `}${zone}`,
    quantity: 'voltage',
    value: b.restVoltageV?.value ?? null,
    zoneBelow: b.thresholdV,
  };
}

function draw(f: Findings): KeyFigure {
  const days = estimateText(f.battery.daysToUnreliable, 'days');
  const a = f.draw.averageAfterSleepA;
  const rest = f.battery.restVoltageV;
  const there = rest !== null && rest.value <= f.battery.thresholdV;
  const outlook = there
    ? ' The battery is in the unreliable zone already.'
    : days === null
      ? ''
      : ` At this rate the unreliable zone is reached in ${days}.`;
  return {
    name: 'Draw after sleep',
    ...split(estimateText(a, 'current')),
    note:
      a === null ? 'Not found in this recording.' : `On average, polling and wake-ups included.${outlook}`,
    quantity: 'current',
    value: a?.value ?? null,
    zoneBelow: null,
  };
}

function sleep(f: Findings): KeyFigure {
  const none = { spread: null, quantity: null, value: null, zoneBelow: null };
  const steps = f.sleep.steps.length;
  switch (f.sleep.state) {
    case 'slept':
      return {
        name: 'Time to sleep',
        main: durationText(f.sleep.timeToSleepS ?? 0),
        note: steps === 1 ? 'In one step.' : `In ${steps} steps.`,
        ...none,
      };
    case 'asleep-from-start':
      return { name: 'Time to sleep', main: 'Asleep', note: 'Already asleep at the start.', ...none };
    case 'never-slept':
      return { name: 'Time to sleep', main: 'Never', note: 'Still awake at the end.', ...none };
    case 'undetermined':
      return { name: 'Time to sleep', main: '–', note: 'Cannot be said from these readings.', ...none };
  }
}

function polling(f: Findings): KeyFigure {
  const p = f.polling;
  const none = { quantity: null, value: null, zoneBelow: null };
  const last = p.regimes[p.regimes.length - 1];
  switch (p.state) {
    case 'resolved':
    case 'stopped': {
      const rates = p.regimes.length;
      const where = p.seenIn === 'voltage' ? ' Seen as dips in the voltage.' : '';
      const note =
        p.state === 'stopped'
          ? `Then it stopped, after ${durationText(p.stoppedAtS ?? 0)}.`
          : rates > 1
            ? `The last of ${rates} rates.`
            : 'One rate throughout.';
      return {
        name: 'Polls every',
        ...split(estimateText(last?.periodS ?? null, 'period')),
        note: note + where,
        ...none,
      };
    }
    case 'unresolved':
      return {
        name: 'Polling',
        main: 'Too fast to time',
        spread: null,
        note: 'This meter is too slow for it; the average still counts it.',
        ...none,
      };
    case 'absent':
      return { name: 'Polling', main: 'None', spread: null, note: 'No polling was found.', ...none };
    case 'undetermined':
      return {
        name: 'Polling',
        main: '–',
        spread: null,
        note: 'Cannot be said from these readings.',
        ...none,
      };
  }
}
