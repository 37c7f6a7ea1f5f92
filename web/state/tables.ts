import { durationText, estimateText, figureText } from '../../server/messages/figures.ts';
import type { Findings } from '../../server/messages/findings.ts';
import { clockText, type Beginning } from './clocktime.ts';
import { windowAround, type TimeWindow } from './window.ts';

/** A table of findings: every row names a place on the chart. */
export interface FindingsTable {
  readonly caption: string;
  readonly columns: readonly string[];
  readonly rows: readonly { readonly cells: readonly string[]; readonly place: TimeWindow }[];
}

const NONE = '–';

export function regimeTable(f: Findings, from: Beginning, whole: TimeWindow): FindingsTable {
  return {
    caption: 'Polling, one row for each rate',
    columns: ['From', 'To', 'Every', 'Width', 'Height', 'Pulses', 'On average'],
    rows: f.polling.regimes.map((r) => ({
      cells: [
        clockText(from, r.startS, 'seconds'),
        clockText(from, r.endS, 'seconds'),
        estimateText(r.periodS, 'period') ?? NONE,
        estimateText(r.widthS, 'width') ?? NONE,
        estimateText(r.amplitudeA, 'current') ?? NONE,
        String(r.pulses),
        estimateText(r.averageA, 'current') ?? NONE,
      ],
      place: windowAround(r.startS, r.endS, whole),
    })),
  };
}

export function wakeUpTable(f: Findings, from: Beginning, whole: TimeWindow): FindingsTable {
  return {
    caption: 'Wake-ups',
    columns: ['At', 'For', 'Highest', 'Charge'],
    rows: f.wakeUps.map((w) => ({
      cells: [
        clockText(from, w.startS, 'seconds'),
        durationText(w.durationS),
        figureText(w.peakA, 'current'),
        figureText(w.chargeC, 'charge'),
      ],
      place: windowAround(w.startS, w.startS + w.durationS, whole),
    })),
  };
}

export function stepTable(f: Findings, from: Beginning, whole: TimeWindow): FindingsTable {
  return {
    caption: 'Shut-down steps',
    columns: ['At', 'From', 'To'],
    rows: f.sleep.steps.map((s) => ({
      cells: [
        clockText(from, s.atS, 'seconds'),
        figureText(s.fromA, 'current'),
        figureText(s.toA, 'current'),
      ],
      place: windowAround(s.atS, s.atS, whole, 120),
    })),
  };
}

/** The average after sleep in its parts, each as a share of the sum; null where the parts are not known. */
export function budgetParts(
  f: Findings,
): readonly { readonly name: string; readonly text: string; readonly share: number }[] | null {
  const { baselineA, pollingA, wakeUpsA } = f.draw.budget;
  if (baselineA === null || pollingA === null || wakeUpsA === null) return null;
  const parts = [
    { name: 'Always there', value: baselineA },
    { name: 'Polling', value: pollingA },
    { name: 'Wake-ups', value: wakeUpsA },
  ];
  const sum = parts.reduce((s, p) => s + Math.max(0, p.value), 0);
  if (!(sum > 0)) return null;
  return parts.map((p) => ({
    name: p.name,
    text: figureText(p.value, 'current'),
    share: Math.max(0, p.value) / sum,
  }));
}

/** The average after sleep with its uncertainty, and what that is in a day. */
export function budgetTotal(f: Findings): { readonly text: string; readonly aDay: string } | null {
  const average = f.draw.averageAfterSleepA;
  const text = estimateText(average, 'current');
  if (average === null || text === null) return null;
  return { text, aDay: `, which is ${figureText(average.value * 86_400, 'charge')} a day.` };
}
