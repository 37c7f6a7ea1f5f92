import { isWhole, panWindow, zoomWindow, type TimeWindow } from '../state/window.ts';

/** A wheel that counts in lines. */
const LINE_PX = 24;

export interface GestureHooks {
  readonly view: () => TimeWindow;
  readonly whole: () => TimeWindow;
  readonly onView: (view: TimeWindow) => void;
}

/**
 * Fingers and wheel on a plot: one finger pans (an upright swipe still scrolls the page), two fingers zoom, the wheel
 * zooms (with Ctrl too, as a touchpad's pinch reports) and pans sideways. The mouse's drag is uPlot's.
 * Returns what takes the listeners off again.
 */
export function addGestures(plot: HTMLElement, hooks: GestureHooks): () => void {
  plot.style.touchAction = 'pan-y';
  const fingers = new Map<number, number>();

  const timeAt = (clientX: number): number => {
    const box = plot.getBoundingClientRect();
    const view = hooks.view();
    return view.fromS + ((clientX - box.left) / box.width) * (view.toS - view.fromS);
  };
  const down = (e: PointerEvent): void => {
    if (e.pointerType === 'touch') fingers.set(e.pointerId, e.clientX);
  };
  const up = (e: PointerEvent): void => {
    fingers.delete(e.pointerId);
  };
  const move = (e: PointerEvent): void => {
    const before = fingers.get(e.pointerId);
    if (before === undefined) return;
    if (fingers.size === 1) {
      const width = plot.getBoundingClientRect().width;
      hooks.onView(panWindow(hooks.view(), hooks.whole(), (before - e.clientX) / width));
    } else if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== e.pointerId)![1];
      const was = Math.max(8, Math.abs(before - other));
      const is = Math.max(8, Math.abs(e.clientX - other));
      hooks.onView(zoomWindow(hooks.view(), hooks.whole(), was / is, timeAt((e.clientX + other) / 2)));
    }
    fingers.set(e.pointerId, e.clientX);
  };
  const wheel = (e: WheelEvent): void => {
    const pixels = e.deltaMode === WheelEvent.DOM_DELTA_PIXEL ? 1 : LINE_PX;
    const sideways = !e.ctrlKey && (e.shiftKey || Math.abs(e.deltaX) > Math.abs(e.deltaY));
    if (sideways) {
      e.preventDefault();
      const width = plot.getBoundingClientRect().width;
      hooks.onView(panWindow(hooks.view(), hooks.whole(), ((e.deltaX || e.deltaY) * pixels) / width));
      return;
    }
    const pinch = e.ctrlKey || e.metaKey;
    // Further out than the whole there is nothing: the wheel scrolls the page again.
    if (!pinch && e.deltaY > 0 && isWhole(hooks.view(), hooks.whole())) return;
    e.preventDefault();
    const factor = Math.exp((e.deltaY * pixels) / (pinch ? 200 : 300));
    hooks.onView(zoomWindow(hooks.view(), hooks.whole(), factor, timeAt(e.clientX)));
  };

  plot.addEventListener('pointerdown', down);
  plot.addEventListener('pointermove', move);
  for (const end of ['pointerup', 'pointercancel'] as const) window.addEventListener(end, up);
  plot.addEventListener('wheel', wheel, { passive: false });
  return () => {
    plot.removeEventListener('pointerdown', down);
    plot.removeEventListener('pointermove', move);
    for (const end of ['pointerup', 'pointercancel'] as const) window.removeEventListener(end, up);
    plot.removeEventListener('wheel', wheel);
  };
}
