import type { ComparedFigure, Comparison } from '../messages/compare.ts';
import type { Estimate, Findings, Regime } from '../messages/findings.ts';
import { durationText, estimateText, figureText } from '../messages/figures.ts';

export interface Side {
  readonly title: string;
  readonly findings: Findings;
}

interface Figure {
  readonly value: number;
  readonly uncertainty: number | null;
}

interface Compared {
  readonly figure: ComparedFigure['figure'];
  readonly label: string;
  readonly kind: ComparedFigure['kind'];
  readonly of: (f: Findings) => Figure | null;
}

const ofEstimate = (e: Estimate | undefined): Figure | null =>
  e === null || e === undefined ? null : { value: e.value, uncertainty: e.expandedUncertainty };

/** What a technician asks first stands first. */
const FIGURES: readonly Compared[] = [
  compared('average-after-sleep', 'Average after sleep', 'current', (f) => f.draw.averageAfterSleepA),
  compared('settled-baseline', 'Settled baseline', 'current', (f) => f.sleep.settledBaselineA),
  compared('polling-draw', 'Polling draw', 'current', (f) => longestRegime(f)?.averageA ?? null),
  compared('polling-period', 'Polling period', 'period', (f) => longestRegime(f)?.periodS ?? null),
  { figure: 'wake-ups-a-day', label: 'Wake-ups a day', kind: 'count', of: wakeUpsADay },
  {
    figure: 'time-to-sleep',
    label: 'Time to sleep',
    kind: 'duration',
    of: (f) => (f.sleep.timeToSleepS === null ? null : { value: f.sleep.timeToSleepS, uncertainty: null }),
  },
  compared('average-last-hour', 'Average of the last hour', 'current', (f) => f.draw.averageLastHourA),
  compared('rest-voltage', 'Rest voltage', 'voltage', (f) => f.battery.restVoltageV),
  compared('state-of-charge', 'State of charge', 'percent', (f) => f.battery.stateOfCharge),
  compared('source-resistance', 'Source resistance', 'resistance', (f) => f.battery.sourceResistanceOhm),
  compared('days-to-unreliable', 'Days to the unreliable zone', 'days', (f) => f.battery.daysToUnreliable),
];

function compared(
  figure: Compared['figure'],
  label: string,
  kind: Compared['kind'],
  of: (f: Findings) => Estimate,
): Compared {
  return { figure, label, kind, of: (f) => ofEstimate(of(f)) };
}

/**
 * Before and after, figure by figure: the change with its expanded uncertainty (k = 2), both sides taken as
 * independent. Errors that the two recordings share, as one meter's, cancel in truth, so this is on the safe side.
 */
export function compareFindings(before: Side, after: Side): Comparison {
  const figures = FIGURES.map((c) => compareOne(c, before.findings, after.findings));
  return {
    schema: 'nightdraw.comparison/1',
    before: sideOf(before),
    after: sideOf(after),
    figures,
    says: words(figures, before.findings, after.findings),
  };
}

function sideOf({ title, findings: { recording } }: Side): Comparison['before'] {
  return { title, startedAt: recording.startedAt, durationS: recording.durationS };
}

function compareOne(c: Compared, before: Findings, after: Findings): ComparedFigure {
  const [a, b] = [c.of(before), c.of(after)];
  const [ua, ub] = [a?.uncertainty ?? null, b?.uncertainty ?? null];
  const change =
    a === null || b === null || ua === null || ub === null
      ? null
      : { value: b.value - a.value, expandedUncertainty: Math.hypot(ua, ub) };
  const verdict = verdictOf(a, b, change);
  return {
    figure: c.figure,
    label: c.label,
    kind: c.kind,
    before: a?.value ?? null,
    after: b?.value ?? null,
    beforeUncertainty: ua,
    afterUncertainty: ub,
    change,
    verdict,
    sentence: sentenceOf(c, a, b, change, verdict),
  };
}

function verdictOf(a: Figure | null, b: Figure | null, change: Estimate): ComparedFigure['verdict'] {
  if (a === null || b === null) return 'missing';
  if (change === null) return 'not-judged';
  if (Math.abs(change.value) <= change.expandedUncertainty) return 'unclear';
  return change.value > 0 ? 'rose' : 'fell';
}

function sentenceOf(
  c: Compared,
  a: Figure | null,
  b: Figure | null,
  change: Estimate,
  verdict: ComparedFigure['verdict'],
): string {
  if (a === null && b === null) return `${c.label}: in neither recording.`;
  if (a === null) return `${c.label}: ${shown(b!, c.kind)} after; not known before.`;
  if (b === null) return `${c.label}: ${shown(a, c.kind)} before; not known after.`;
  const fromTo = `from ${shown(a, c.kind)} to ${shown(b, c.kind)}`;
  if (change === null)
    return `${c.label}: ${fromTo}. One night on each side does not tell how far it varies by itself.`;
  const size = { ...change, value: Math.abs(change.value) };
  if (verdict === 'unclear')
    return `${c.label}: no change that these recordings can show (${fromTo}; a change of less than ${plain(change.expandedUncertainty, c.kind)} would not stand out).`;
  return `${c.label} ${verdict} by ${withUncertainty(size, c.kind)}, ${fromTo}.`;
}

function shown(f: Figure, kind: Compared['kind']): string {
  return f.uncertainty === null || kind === 'count' || kind === 'duration'
    ? plain(f.value, kind)
    : estimateText({ value: f.value, expandedUncertainty: f.uncertainty }, kind)!;
}

function plain(value: number, kind: Compared['kind']): string {
  if (kind === 'duration') return durationText(value);
  if (kind === 'count') return value < 10 ? value.toFixed(1) : String(Math.round(value));
  return figureText(value, kind);
}

function withUncertainty(e: NonNullable<Estimate>, kind: Compared['kind']): string {
  if (kind === 'duration' || kind === 'count')
    return `${plain(e.value, kind)} ± ${plain(e.expandedUncertainty, kind)}`;
  return estimateText(e, kind)!;
}

/** The regime that lasted longest of those whose period was measured: the polling of the settled car. */
function longestRegime(f: Findings): Regime | undefined {
  return f.polling.regimes
    .filter((r) => r.periodS !== null)
    .sort((a, b) => b.endS - b.startS - (a.endS - a.startS))[0];
}

const DAY_S = 86_400;

/** A count is uncertain by its square root (Poisson); none seen still leaves room for one. */
function wakeUpsADay(f: Findings): Figure | null {
  const asleep = f.sleep.state === 'slept' || f.sleep.state === 'asleep-from-start';
  const span = f.recording.durationS - (f.sleep.timeToSleepS ?? 0);
  if (!asleep || span <= 0) return null;
  const n = f.wakeUps.length;
  const perDay = DAY_S / span;
  return { value: n * perDay, uncertainty: 2 * Math.sqrt(Math.max(1, n)) * perDay };
}

const DRAW: ReadonlySet<ComparedFigure['figure']> = new Set([
  'average-after-sleep',
  'settled-baseline',
  'polling-draw',
  'polling-period',
  'wake-ups-a-day',
  'rest-voltage',
]);

function words(figures: readonly ComparedFigure[], before: Findings, after: Findings): string[] {
  const clear = figures.filter((f) => f.verdict === 'rose' || f.verdict === 'fell');
  const unclear = figures.filter((f) => f.verdict === 'unclear' && DRAW.has(f.figure));
  const out = clear.map((f) => f.sentence);
  if (clear.length === 0) out.push('No figure changed by more than its uncertainty.');
  if (unclear.length > 0)
    out.push(`Not told apart from no change: ${unclear.map((f) => f.label.toLowerCase()).join(', ')}.`);
  const sleep = { before: SLEEP[before.sleep.state], after: SLEEP[after.sleep.state] };
  if (sleep.before !== sleep.after) out.push(`Before, the car ${sleep.before}; after, it ${sleep.after}.`);
  const [p, q] = [POLLING[before.polling.state], POLLING[after.polling.state]];
  if (p !== q) out.push(`Polling was ${p} before and ${q} after.`);
  out.push(...against(before, after));
  return out;
}

const SLEEP: Readonly<Record<Findings['sleep']['state'], string>> = {
  slept: 'went to sleep',
  'never-slept': 'never slept',
  'asleep-from-start': 'slept from the start',
  undetermined: 'gave too little to tell whether it slept',
};

const POLLING: Readonly<Record<Findings['polling']['state'], string>> = {
  resolved: 'timed',
  unresolved: 'there but too fast for the meter',
  absent: 'absent',
  stopped: 'seen to stop',
  undetermined: 'not to be told',
};

/** What makes two nights hard to compare. */
function against(before: Findings, after: Findings): string[] {
  const out: string[] = [];
  const [a, b] = [before.recording.durationS, after.recording.durationS];
  if (Math.max(a, b) > 3 * Math.min(a, b))
    out.push(
      `The recordings differ much in length (${durationText(a)} and ${durationText(b)}): the longer one had more time to settle.`,
    );
  if (before.recording.reversed !== after.recording.reversed)
    out.push('In one of the two the clamp is on backwards: its draw cannot be compared.');
  if (before.battery.table !== after.battery.table)
    out.push(
      'The two were worked out for different kinds of battery: their states of charge cannot be compared.',
    );
  const silent = [before, after].some((f) => f.flags.some((x) => x.code === 'accuracy-not-stated'));
  if (silent)
    out.push(
      'A meter whose accuracy is not stated carries only what its readings show; use the same meter on both nights.',
    );
  return out;
}
