import type { Mark, MarkKind } from './marks.ts';
import type { TimeWindow } from './window.ts';

/** Marks of one lane on as many tracks as it takes for none to cover another: two pulse trains may overlap. */
export function tracksOf(marks: readonly Mark[]): Mark[][] {
  const tracks: Mark[][] = [];
  for (const mark of [...marks].sort((a, b) => a.startS - b.startS || a.endS - b.endS)) {
    const isSpan = mark.endS > mark.startS;
    const free = tracks.find(
      (t) => !isSpan || t.every((m) => m.endS <= mark.startS + OVERLAP_S || m.endS === m.startS),
    );
    if (free === undefined) tracks.push([mark]);
    else free.push(mark);
  }
  return tracks;
}

/** Regimes that follow one another may share a pulse. */
const OVERLAP_S = 2;

/** A mark where it is drawn: shares of the window's width, and how many marks it stands for. */
export interface PlacedMark {
  readonly mark: Mark;
  readonly left: number;
  readonly width: number;
  readonly count: number;
}

/**
 * Marks of one lane within the window. Moments and short stretches that would fall on one another (closer
 * than `least`, a share of the width) become one mark that says how many it stands for.
 */
export function placeMarks(marks: readonly Mark[], view: TimeWindow, least: number): PlacedMark[] {
  const span = view.toS - view.fromS;
  const out: PlacedMark[] = [];
  const inView = marks.filter((m) => m.endS >= view.fromS && m.startS <= view.toS);
  for (const mark of inView) {
    const left = Math.max(0, (mark.startS - view.fromS) / span);
    const right = Math.min(1, (mark.endS - view.fromS) / span);
    const width = Math.max(0, right - left);
    const last = out.findLast((p) => p.mark.kind === mark.kind);
    if (
      last !== undefined &&
      MERGED.has(mark.kind) &&
      width < least &&
      last.width < least * 4 &&
      left - last.left < least
    ) {
      const count = last.count + 1;
      out[out.indexOf(last)] = {
        ...last,
        count,
        width: Math.max(last.width, right - last.left),
        mark: { ...last.mark, endS: mark.endS, label: `${count}`, title: `${count} ${PLURAL[mark.kind]}` },
      };
    } else out.push({ mark, left, width, count: 1 });
  }
  return out;
}

const PLURAL: Readonly<Partial<Record<MarkKind, string>>> = {
  step: 'shut-down steps',
  'wake-up': 'wake-ups',
  attempt: 'attempts',
  gap: 'gaps',
  note: 'notes',
  'clock-step': 'clock changes',
};
const MERGED: ReadonlySet<MarkKind> = new Set(Object.keys(PLURAL) as MarkKind[]);
