import { covers, fitWindow, isWhole, spanOf, type TimeWindow } from './window.ts';

/** What to ask the server for so that a view can be shown and panned a little without asking again. */
export interface FetchPlan extends TimeWindow {
  readonly buckets: number;
}

/** Buckets per CSS pixel: two, so that a screen of twice the density still shows each peak in its place. */
const PER_PIXEL = 2;
const MOST = 4000;

/** The view with half its width on either side, at the same fineness; the whole when the view is the whole. */
export function planFor(view: TimeWindow, whole: TimeWindow, widthPx: number): FetchPlan {
  const fine = Math.max(200, Math.round(widthPx * PER_PIXEL));
  if (isWhole(view, whole)) return { ...whole, buckets: Math.min(MOST, fine) };
  const span = spanOf(view);
  const wide = fitWindow({ fromS: view.fromS - span / 2, toS: view.toS + span / 2 }, whole);
  return { ...wide, buckets: Math.min(MOST, Math.round((fine * spanOf(wide)) / span)) };
}

/** Whether what was fetched by a plan still serves a view: it covers it and is not much coarser than wanted. */
export function serves(plan: FetchPlan, view: TimeWindow, whole: TimeWindow, widthPx: number): boolean {
  if (!covers(plan, view)) return false;
  const wanted = planFor(view, whole, widthPx);
  return spanOf(plan) / plan.buckets <= (spanOf(wanted) / wanted.buckets) * 1.3;
}
