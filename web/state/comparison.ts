import { compareFindings } from '../../server/battery/compare.ts';
import type { ComparedFigure, Comparison } from '../../server/messages/compare.ts';
import type { Findings } from '../../server/messages/findings.ts';
import type { RecordingDetail } from '../../server/messages/http.ts';
import { durationText, estimateText, figureText } from '../../server/messages/figures.ts';

export interface Night {
  readonly detail: RecordingDetail;
  readonly findings: Findings;
}

export function compareNights(before: Night, after: Night): Comparison {
  const side = ({ detail, findings }: Night) => ({ title: detail.recording.title, findings });
  return compareFindings(side(before), side(after));
}

/** A figure of one night on the scale that both nights share: shares of its length, 0..1. */
export interface Place {
  readonly at: number;
  readonly from: number;
  readonly to: number;
  readonly text: string;
}

export interface ComparedRow {
  readonly label: string;
  readonly before: Place;
  readonly after: Place;
  /** "fell by 12.3 mA ± 0.4 mA", or why nothing can be said. */
  readonly change: string;
  readonly verdict: ComparedFigure['verdict'];
  readonly sentence: string;
}

/** Levels that a difference of a hundredth matters on: their scale does not begin at zero. */
const RELATIVE: ReadonlySet<ComparedFigure['kind']> = new Set(['voltage', 'percent', 'period']);

/** The figures that both nights give, each pair on one scale. */
export function comparedRows(c: Comparison): ComparedRow[] {
  return c.figures.flatMap((f) => {
    if (f.before === null || f.after === null) return [];
    const [ub, ua] = [f.beforeUncertainty ?? 0, f.afterUncertainty ?? 0];
    let low = Math.min(f.before - ub, f.after - ua);
    let high = Math.max(f.before + ub, f.after + ua);
    if (!RELATIVE.has(f.kind)) low = Math.min(0, low);
    const margin = Math.max(high - low, Math.abs(high) * 1e-3, 1e-12) * 0.1;
    [low, high] = [RELATIVE.has(f.kind) ? low - margin : low, high + margin];
    const share = (v: number): number => (v - low) / (high - low);
    const place = (v: number, u: number | null): Place => ({
      at: share(v),
      from: share(v - (u ?? 0)),
      to: share(v + (u ?? 0)),
      text: textOf(f.kind, v, u),
    });
    return [
      {
        label: f.label,
        before: place(f.before, f.beforeUncertainty),
        after: place(f.after, f.afterUncertainty),
        change: changeText(f),
        verdict: f.verdict,
        sentence: f.sentence,
      },
    ];
  });
}

function changeText(f: ComparedFigure): string {
  const { change, kind, verdict } = f;
  if (change === null) return 'not judged: one night on each side';
  if (verdict === 'unclear')
    return `no change that these nights can show (less than ${textOf(kind, change.expandedUncertainty, null)})`;
  return `${verdict} by ${textOf(kind, Math.abs(change.value), change.expandedUncertainty)}`;
}

function textOf(kind: ComparedFigure['kind'], value: number, u: number | null): string {
  if (kind === 'duration' || kind === 'count') {
    const plain = (v: number): string => (kind === 'duration' ? durationText(v) : v.toFixed(1));
    return u === null ? plain(value) : `${plain(value)} ± ${plain(u)}`;
  }
  return u === null ? figureText(value, kind) : estimateText({ value, expandedUncertainty: u }, kind)!;
}

/** From where the hours of a night are counted. */
export type Zero = 'start' | 'sleep';
