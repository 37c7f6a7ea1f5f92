import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { clockText, type Beginning } from '../state/clocktime.ts';
import { readAt, type Curve } from '../state/curve.ts';
import { describeView, nameOf } from '../state/describe.ts';
import { figureLine, roundedFigure } from '../state/figure.ts';
import type { Mark } from '../state/marks.ts';
import { spanOf, type TimeWindow } from '../state/window.ts';

/** What stands under the cursor; without one, what the view shows. */
export function Reading(p: {
  readonly curves: readonly Curve[];
  readonly atS: number | null;
  readonly view: TimeWindow;
  readonly begin: Beginning;
  readonly loading: boolean;
}): JSX.Element {
  const at = p.atS;
  const reach = spanOf(p.view) / 60;
  const short = spanOf(p.view) < 60;
  return (
    <dl class="cursor-line" aria-live="off">
      <div>
        <dt>{at === null ? 'Shown' : 'At'}</dt>
        <dd>
          {at === null
            ? `${clockText(p.begin, p.view.fromS, 'seconds')} to ${clockText(p.begin, p.view.toS, 'seconds')}`
            : clockText(p.begin, at, short ? 'tenths' : 'seconds')}
        </dd>
      </div>
      {at !== null &&
        p.curves.map((c) => {
          const v = readAt(c, at, reach);
          const low = v === null ? null : figureLine(roundedFigure(c.quantity, v.low));
          const high = v === null ? null : figureLine(roundedFigure(c.quantity, v.high));
          return (
            <div key={c.channelId} class={c.quantity}>
              <dt>{nameOf(c, p.curves)}</dt>
              <dd>{low === null ? 'no reading' : low === high ? low : `${low} to ${high}`}</dd>
            </div>
          );
        })}
      {p.loading && <span class="quiet">reading closer</span>}
    </dl>
  );
}

/** The story of the mark that is pointed at, with its time. */
export function MarkStory(p: { readonly mark: Mark | null; readonly begin: Beginning }): JSX.Element {
  const { mark } = p;
  return (
    <p class="mark-story" aria-live="polite">
      {mark === null ? (
        <span class="quiet">Point at a mark or tap it: here stands what it is.</span>
      ) : (
        <>
          <span class={`mark-dot ${mark.kind}`} aria-hidden="true" />
          <strong>{clockText(p.begin, mark.startS, 'seconds')}</strong> {mark.title}
        </>
      )}
    </p>
  );
}

const SETTLED_MS = 700;

/** The view in words, said when it has come to rest. */
export function SpokenView(p: {
  readonly curves: readonly Curve[];
  readonly marks: readonly Mark[];
  readonly view: TimeWindow;
  readonly begin: Beginning;
}): JSX.Element {
  const [said, setSaid] = useState('');
  useEffect(() => {
    const timer = setTimeout(() => setSaid(describeView(p.curves, p.marks, p.view, p.begin)), SETTLED_MS);
    return () => clearTimeout(timer);
  }, [p.curves, p.marks, p.view, p.begin]);
  return (
    <p class="hidden" aria-live="polite">
      {said}
    </p>
  );
}
