import type { JSX } from 'preact';
import { placeMarks, tracksOf } from '../state/markPlaces.ts';
import { LANES, type Lane, type Mark } from '../state/marks.ts';
import { windowAround, type TimeWindow } from '../state/window.ts';

/** Rows of marks over the chart, on its time axis. Each mark is a button that goes to its place. */
export function Lanes(p: {
  readonly marks: readonly Mark[];
  readonly view: TimeWindow;
  readonly whole: TimeWindow;
  readonly widthPx: number;
  readonly onView: (view: TimeWindow) => void;
  /** The mark under pointer, finger or focus; null when it is left. */
  readonly onPoint: (mark: Mark | null) => void;
}): JSX.Element {
  return (
    <div class="lanes" role="group" aria-label="Marks on the time axis">
      {LANES.map(({ lane, label }) => {
        const marks = p.marks.filter((m) => m.lane === lane);
        // Only polling runs side by side; what else meets in a lane stands on one another on purpose.
        const tracks = lane === 'polling' ? tracksOf(marks) : marks.length === 0 ? [] : [marks];
        return tracks.map((track, i) => (
          <LaneRow key={`${lane} ${i}`} lane={lane} label={i === 0 ? label : ''} {...p} marks={track} />
        ));
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
  /** The mark under pointer, finger or focus; null when it is left. */
  readonly onPoint: (mark: Mark | null) => void;
}): JSX.Element {
  // A mark is at least a thumb's edge wide; nearer ones become one.
  const least = p.widthPx > 0 ? 24 / p.widthPx : 0.05;
  const placed = placeMarks(p.marks, p.view, least);
  return (
    <div class={`lane ${p.lane}`}>
      <span class="lane-name">{p.label}</span>
      <div class="lane-row">
        {placed.map(({ mark, left, width, count }) => {
          const wide = width * p.widthPx;
          const isNamed = count > 1 || wide > 8 * mark.label.length + 14;
          return (
            <button
              key={mark.id}
              type="button"
              class={`mark ${mark.kind}${wide > 24 ? ' wide' : ' tick'}`}
              style={
                wide > 24
                  ? { left: `${left * 100}%`, width: `${width * 100}%` }
                  : { left: `clamp(12px, ${(left + width / 2) * 100}%, calc(100% - 12px))` }
              }
              // Who speaks to the page says what is written on the mark.
              aria-label={
                isNamed && !mark.title.includes(mark.label) ? `${mark.label}: ${mark.title}` : mark.title
              }
              onPointerEnter={() => p.onPoint(mark)}
              onPointerLeave={(e) => {
                // A finger leaves as soon as it is lifted; what it tapped stays to be read.
                if (e.pointerType === 'mouse') p.onPoint(null);
              }}
              onFocus={() => p.onPoint(mark)}
              onBlur={() => p.onPoint(null)}
              onClick={() => p.onView(windowAround(mark.startS, mark.endS, p.whole))}
            >
              {isNamed && <span aria-hidden="true">{mark.label}</span>}
            </button>
          );
        })}
      </div>
    </div>
  );
}
