import type { JSX } from 'preact';
import { LANES, placeMarks, type Lane, type Mark } from '../state/marks.ts';
import { windowAround, type TimeWindow } from '../state/window.ts';

/** Rows of marks over the chart, on its time axis. Each mark is a button that goes to its place. */
export function Lanes(p: {
  readonly marks: readonly Mark[];
  readonly view: TimeWindow;
  readonly whole: TimeWindow;
  readonly widthPx: number;
  readonly onView: (view: TimeWindow) => void;
}): JSX.Element {
  return (
    <div class="lanes" role="group" aria-label="Marks on the time axis">
      {LANES.map(({ lane, label }) => {
        const marks = p.marks.filter((m) => m.lane === lane);
        return marks.length === 0 ? null : (
          <LaneRow key={lane} lane={lane} label={label} {...p} marks={marks} />
        );
      })}
    </div>
  );
}

function LaneRow(p: {
  readonly lane: Lane;
  readonly label: string;
  readonly marks: readonly Mark[];
  readonly view: TimeWindow;
  readonly whole: TimeWindow;
  readonly widthPx: number;
  readonly onView: (view: TimeWindow) => void;
}): JSX.Element {
  // A mark is at least a thumb's edge wide; nearer ones become one.
  const least = p.widthPx > 0 ? 26 / p.widthPx : 0.05;
  const placed = placeMarks(p.marks, p.view, least);
  return (
    <div class={`lane ${p.lane}`}>
      <span class="lane-name">{p.label}</span>
      <div class="lane-row">
        {placed.map(({ mark, left, width, count }) => {
          const wide = width * p.widthPx;
          return (
            <button
              key={mark.id}
              type="button"
              class={`mark ${mark.kind}${wide > 26 ? ' wide' : ' tick'}`}
              style={{ left: `${left * 100}%`, width: `${width * 100}%` }}
              title={mark.title}
              aria-label={mark.title}
              onClick={() => p.onView(windowAround(mark.startS, mark.endS, p.whole))}
            >
              {(wide > 56 || count > 1) && <span aria-hidden="true">{mark.label}</span>}
            </button>
          );
        })}
      </div>
    </div>
  );
}
