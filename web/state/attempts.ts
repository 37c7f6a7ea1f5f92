import type { CaseAttempt, CaseAttempts, Dip } from '../../server/messages/attempts.ts';
import { estimateText, figureText } from '../../server/messages/figures.ts';
import type { AttemptOutcome } from '../../server/messages/records.ts';
import { OUTCOMES, type Attempt } from './live.ts';

/** Where an attempt of this page is kept. */
export type Keeping =
  | { readonly kind: 'page' }
  | { readonly kind: 'sending' }
  | { readonly kind: 'waiting' }
  | { readonly kind: 'refused'; readonly sentence: string }
  | { readonly kind: 'recorded' };

export interface HeldAttempt {
  readonly attempt: Attempt;
  readonly recordingIds: readonly string[];
  readonly keeping: Keeping;
}

/**
 * The attempts that were marked in this page, and whether a recording holds them. One that the server did not take
 * is sent again when it can be reached; the moment of the tap goes with it.
 */
export class AttemptBook {
  private held: HeldAttempt[] = [];

  add(attempt: Attempt, recordingIds: readonly string[]): HeldAttempt {
    const kind = recordingIds.length === 0 ? 'page' : 'sending';
    const made: HeldAttempt = { attempt, recordingIds, keeping: { kind } };
    this.held.push(made);
    return made;
  }

  note(number: number, keeping: Keeping): void {
    this.held = this.held.map((h) => (h.attempt.number === number ? { ...h, keeping } : h));
  }

  /** Those to send now; they count as being sent from here on. */
  takeWaiting(): HeldAttempt[] {
    const waiting = this.held.filter((h) => h.keeping.kind === 'waiting');
    for (const h of waiting) this.note(h.attempt.number, { kind: 'sending' });
    return waiting;
  }

  /** Those that no recording holds, newest first. */
  notRecorded(): HeldAttempt[] {
    return this.held.filter((h) => h.keeping.kind !== 'recorded').reverse();
  }

  /** What is marked while the server does not know of it yet. */
  get last(): HeldAttempt | null {
    return this.held.at(-1) ?? null;
  }
}

export function keepingText(keeping: Keeping): string {
  switch (keeping.kind) {
    case 'page':
      return 'in this page only: no recording ran';
    case 'sending':
      return 'being recorded';
    case 'waiting':
      return 'waits for the server';
    case 'refused':
      return keeping.sentence;
    case 'recorded':
      return 'recorded';
  }
}

export function outcomeLabel(outcome: AttemptOutcome | null, text = ''): string {
  return OUTCOMES.find((o) => o.outcome === outcome)?.label ?? (text === '' ? 'Tried' : text);
}

export interface AttemptRow {
  readonly key: string;
  readonly number: number;
  readonly outcome: AttemptOutcome | null;
  readonly label: string;
  /** The dip, in figures; empty while it is being measured. */
  readonly figures: string;
  readonly notes: readonly string[];
  readonly recordingId: string;
  readonly atS: number;
}

/** The recorded attempts, newest first, numbered in the order in which they were made. */
export function attemptRows({ attempts }: CaseAttempts): AttemptRow[] {
  return attempts.map((a, i) => rowOf(a, i + 1)).reverse();
}

function rowOf(a: CaseAttempt, number: number): AttemptRow {
  return {
    key: `${a.recordingId} ${a.atS} ${number}`,
    number,
    outcome: a.outcome,
    label: outcomeLabel(a.outcome, a.text),
    figures: a.dip === null ? '' : dipText(a.dip),
    notes: a.dip?.notes ?? [],
    recordingId: a.recordingId,
    atS: a.atS,
  };
}

/** What is said of every row is said once, below the list. */
export function withoutCommonNotes(rows: readonly AttemptRow[]): {
  readonly rows: readonly AttemptRow[];
  readonly common: readonly string[];
} {
  const measured = rows.filter((r) => r.figures !== '');
  const common = [...new Set(measured.flatMap((r) => r.notes))].filter(
    (note) => measured.length > 1 && measured.filter((r) => r.notes.includes(note)).length > 1,
  );
  const left = rows.map((r) => ({ ...r, notes: r.notes.filter((n) => !common.includes(n)) }));
  return { rows: left, common };
}

/** Whether passive entry did its part, as a class of the page. */
export function toneOf(outcome: AttemptOutcome | null): string {
  return outcome === null ? 'try-unsaid' : WORKED.has(outcome) ? 'try-worked' : 'try-failed';
}

/** For example "12.41 V to 11.87 V, back in 0.42 s, peak 12.1 A, source 25 mohm". */
export function dipText(dip: Dip): string {
  const { restV, lowestV, depthV, recoveryS, peakA, sourceResistanceOhm } = dip;
  const rest = restV === null ? null : `${restV.value.toFixed(2)} V`;
  const lowest = lowestV === null ? null : `${lowestV.toFixed(2)} V`;
  if (depthV === null) return rest === null ? (lowest ?? '') : `${rest}, no dip seen`;
  return [
    `${rest} to ${lowest}`,
    recoveryS === null ? '' : `back in ${figureText(recoveryS.value, 'period')}`,
    peakA === null ? '' : `peak ${figureText(peakA.value, 'current')}`,
    sourceResistanceOhm === null ? '' : `source ${estimateText(sourceResistanceOhm, 'resistance')}`,
  ]
    .filter(Boolean)
    .join(', ');
}

/** How a threshold was found and whether it is in use. */
export interface ThresholdView {
  readonly headline: string;
  readonly says: readonly string[];
  /** True where the figure can be taken over for this car. */
  readonly canTake: boolean;
  readonly inUse: string | null;
  /** Tries on a line of volts: place from 0 to 1. */
  readonly line: ThresholdLine | null;
}

export interface ThresholdLine {
  readonly fromV: number;
  readonly toV: number;
  readonly tries: readonly { readonly at: number; readonly worked: boolean }[];
  readonly band: readonly [number, number] | null;
  readonly middle: number | null;
}

export function thresholdView(all: CaseAttempts): ThresholdView {
  const { threshold, measured, caseId } = all;
  const figure = estimateText(threshold.thresholdV, 'voltage');
  const rising = threshold.slope === null || threshold.slope > 0;
  const inUse =
    measured === null
      ? null
      : `${estimateText({ value: measured.thresholdV, expandedUncertainty: measured.expandedUncertaintyV }, 'voltage')!} from ${measured.tries} tries is in use for this car's findings.`;
  return {
    headline:
      figure === null || !rising
        ? "This car's threshold is not known yet"
        : `This car's threshold: ${figure}`,
    says: threshold.says,
    canTake:
      caseId !== null && figure !== null && rising && measured?.thresholdV !== threshold.thresholdV!.value,
    inUse,
    line: lineOf(all),
  };
}

const WORKED: ReadonlySet<AttemptOutcome> = new Set(['opened', 'locked-by-touch']);

function lineOf({ attempts, threshold }: CaseAttempts): ThresholdLine | null {
  const tries = attempts.flatMap(({ outcome, dip }) =>
    outcome === null || !dip?.restV ? [] : [{ v: dip.restV.value, worked: WORKED.has(outcome) }],
  );
  if (tries.length < 2) return null;
  const v = tries.map((t) => t.v);
  const middle = (Math.min(...v) + Math.max(...v)) / 2;
  const half = Math.max(0.25, 0.6 * (Math.max(...v) - Math.min(...v)));
  const [fromV, toV] = [middle - half, middle + half];
  const at = (x: number): number => Math.min(1, Math.max(0, (x - fromV) / (toV - fromV)));
  const { intervalV, thresholdV } = threshold;
  return {
    fromV,
    toV,
    tries: tries.map((t) => ({ at: at(t.v), worked: t.worked })),
    band: intervalV === null ? null : [at(intervalV[0]), at(intervalV[1])],
    middle: thresholdV === null ? null : at(thresholdV.value),
  };
}
