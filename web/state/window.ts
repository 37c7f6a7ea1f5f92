/** A stretch of a recording's time axis, seconds from its start; `fromS` < `toS`. */
export interface TimeWindow {
  readonly fromS: number;
  readonly toS: number;
}

/** Nothing is worth looking at closer than this: a few readings of the quickest meter. */
export const SHORTEST_S = 0.5;

export function spanOf(w: TimeWindow): number {
  return w.toS - w.fromS;
}

/** Moves and, if it must, shortens a window so that it lies within the whole and is not too short to read. */
export function fitWindow(w: TimeWindow, whole: TimeWindow): TimeWindow {
  const span = Math.min(Math.max(spanOf(w), SHORTEST_S), spanOf(whole));
  const middle = (w.fromS + w.toS) / 2;
  const from = Math.min(Math.max(middle - span / 2, whole.fromS), whole.toS - span);
  return { fromS: from, toS: from + span };
}

/** `factor` below 1 comes closer; the time `atS` keeps its place on the screen. */
export function zoomWindow(w: TimeWindow, whole: TimeWindow, factor: number, atS?: number): TimeWindow {
  const span = spanOf(w);
  const wanted = Math.min(Math.max(span * factor, SHORTEST_S), spanOf(whole));
  const anchor = atS ?? (w.fromS + w.toS) / 2;
  const share = (anchor - w.fromS) / span;
  const from = anchor - share * wanted;
  return fitWindow({ fromS: from, toS: from + wanted }, whole);
}

/** `fraction` of the window's own width, positive towards later. */
export function panWindow(w: TimeWindow, whole: TimeWindow, fraction: number): TimeWindow {
  const shift = spanOf(w) * fraction;
  return fitWindow({ fromS: w.fromS + shift, toS: w.toS + shift }, whole);
}

/** A window that shows a place with its surroundings; a moment gets at least `leastS`. */
export function windowAround(startS: number, endS: number, whole: TimeWindow, leastS = 60): TimeWindow {
  const length = Math.max(endS - startS, 0);
  const margin = Math.max(length * 0.25, (leastS - length) / 2);
  return fitWindow({ fromS: startS - margin, toS: endS + margin }, whole);
}

export function isWhole(w: TimeWindow, whole: TimeWindow): boolean {
  const slack = spanOf(whole) * 1e-6;
  return w.fromS <= whole.fromS + slack && w.toS >= whole.toS - slack;
}

/** Whether `inner` is inside `outer`, so that what was fetched for `outer` covers it. */
export function covers(outer: TimeWindow, inner: TimeWindow): boolean {
  const slack = spanOf(outer) * 1e-6;
  return inner.fromS >= outer.fromS - slack && inner.toS <= outer.toS + slack;
}

/** The recording has grown: who looks at all of it, or at its end, goes on doing so; everyone else stays. */
export function viewAfterGrowth(view: TimeWindow, before: TimeWindow, after: TimeWindow): TimeWindow {
  if (isWhole(view, before)) return after;
  const atEnd = view.toS >= before.toS - spanOf(view) * 1e-6;
  return atEnd
    ? fitWindow({ fromS: after.toS - spanOf(view), toS: after.toS }, after)
    : fitWindow(view, after);
}

/** What a key does to the chart's window; null when the key is not the chart's. */
export function windowForKey(key: string, w: TimeWindow, whole: TimeWindow): TimeWindow | null {
  switch (key) {
    case 'ArrowLeft':
      return panWindow(w, whole, -0.25);
    case 'ArrowRight':
      return panWindow(w, whole, 0.25);
    case 'PageUp':
      return panWindow(w, whole, -1);
    case 'PageDown':
      return panWindow(w, whole, 1);
    case 'Home':
      return panWindow(w, whole, -1e9);
    case 'End':
      return panWindow(w, whole, 1e9);
    case '+':
    case '=':
      return zoomWindow(w, whole, 0.5);
    case '-':
    case '_':
      return zoomWindow(w, whole, 2);
    case '0':
    case 'Escape':
      return whole;
    default:
      return null;
  }
}
