import uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';
import type { CurrentScale } from '../state/axis.ts';
import { tickText, timeTicks, type Beginning } from '../state/clocktime.ts';
import type { Curve } from '../state/curve.ts';
import type { Mark } from '../state/marks.ts';
import type { TimeWindow } from '../state/window.ts';
import { addGestures } from './gestures.ts';
import { drawBehind, drawInFront, type Level } from './overlay.ts';
import { curveSeries, joinedData, valueAxis, valueScale, type PanelQuantity } from './panel.ts';
import { onThemeChange, readTheme, type ChartTheme } from './theme.ts';

/** All that the chart of a night shows. */
export interface NightChartInput {
  readonly curves: readonly Curve[];
  readonly marks: readonly Mark[];
  readonly view: TimeWindow;
  readonly whole: TimeWindow;
  readonly scale: CurrentScale;
  readonly begin: Beginning;
  /** The edge of the unreliable zone on the voltage panel. */
  readonly level: Level | null;
}

export interface NightChartHooks {
  onView(view: TimeWindow): void;
  onReset(): void;
  /** Time under the cursor, or null when it has left. */
  onCursor(atS: number | null): void;
}

export interface NightChart {
  update(input: NightChartInput): void;
  destroy(): void;
}

interface Panel {
  readonly quantity: PanelQuantity;
  readonly plot: uPlot;
  readonly shape: string;
  readonly off: () => void;
}

const ORDER: readonly PanelQuantity[] = ['voltage', 'current', 'temperature'];
let made = 0;

/** Voltage above current on one time axis, with one cursor through both. The host's width is followed. */
export function mountNightChart(host: HTMLElement, hooks: NightChartHooks): NightChart {
  const sync = `night-${++made}`;
  let input: NightChartInput | null = null;
  let panels: Panel[] = [];
  let shown: readonly Curve[] | null = null;
  let theme = readTheme(host);

  const shapeOf = (curves: readonly Curve[], scale: CurrentScale, last: boolean): string =>
    JSON.stringify([curves.map((c) => c.channelId), scale, last]);

  const groups = (now: NightChartInput): { quantity: PanelQuantity; curves: Curve[] }[] =>
    ORDER.map((quantity) => ({ quantity, curves: now.curves.filter((c) => c.quantity === quantity) })).filter(
      (g) => g.curves.length > 0,
    );

  const render = (force: boolean): void => {
    if (input === null) return;
    const now = input;
    const wanted = groups(now);
    const shapes = wanted.map((g, i) => shapeOf(g.curves, now.scale, i === wanted.length - 1));
    const same = !force && wanted.length === panels.length && panels.every((p, i) => p.shape === shapes[i]);
    if (!same) {
      for (const p of panels) p.off();
      panels = wanted.map((g, i) => makePanel(g.quantity, g.curves, shapes[i]!, i === wanted.length - 1));
    }
    panels.forEach((p, i) => {
      p.plot.batch(() => {
        // Moving the window over the same curves needs no new data.
        if (now.curves !== shown)
          p.plot.setData(
            joinedData(wanted[i]!.curves, (t) => uPlot.join(t)),
            false,
          );
        p.plot.setScale('x', { min: now.view.fromS, max: now.view.toS });
      });
    });
    shown = now.curves;
  };

  const makePanel = (quantity: PanelQuantity, curves: Curve[], shape: string, last: boolean): Panel => {
    const { series, bands } = curveSeries(
      curves,
      theme,
      (i) => now().curves.filter((c) => c.quantity === quantity)[i]?.raw ?? false,
    );
    const plot = new uPlot(
      {
        width: host.clientWidth || 320,
        height: panelHeight(quantity, last, theme),
        padding: [theme.rem * 0.6, theme.rem * 0.75, last ? 0 : theme.rem * 0.4, 0],
        legend: { show: false },
        series,
        bands,
        scales: { x: { time: false }, y: valueScale(quantity, now().scale) },
        axes: [timeAxis(last), valueAxis(quantity, now().scale, theme)],
        cursor: {
          sync: { key: sync },
          drag: { x: true, y: false, setScale: false },
          points: { show: false },
          y: false,
          bind: {
            dblclick: () => () => {
              hooks.onReset();
              return null;
            },
          },
        },
        hooks: {
          drawAxes: [(u) => drawBehind(u, gapsOf(quantity), levelOf(quantity), theme)],
          draw: [(u) => drawInFront(u, now().marks, levelOf(quantity), theme)],
          setSelect: [
            (u) => {
              const { left, width } = u.select;
              if (width < 4) return;
              const view = { fromS: u.posToVal(left, 'x'), toS: u.posToVal(left + width, 'x') };
              u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
              hooks.onView(view);
            },
          ],
          setCursor: [
            (u) => {
              const left = u.cursor.left ?? -1;
              hooks.onCursor(left < 0 ? null : u.posToVal(left, 'x'));
            },
          ],
        },
      },
      joinedData(curves, (t) => uPlot.join(t)),
      host,
    );
    plot.root.setAttribute('aria-hidden', 'true');
    const offGestures = addGestures(plot.over, {
      view: () => now().view,
      whole: () => now().whole,
      onView: (view) => hooks.onView(view),
    });
    return {
      quantity,
      plot,
      shape,
      off: () => {
        offGestures();
        plot.destroy();
      },
    };
  };

  const now = (): NightChartInput => input!;
  const gapsOf = (quantity: PanelQuantity) =>
    now()
      .curves.filter((c) => c.quantity === quantity)
      .flatMap((c) => c.gaps);
  const levelOf = (quantity: PanelQuantity): Level | null => (quantity === 'voltage' ? now().level : null);

  const timeAxis = (last: boolean): uPlot.Axis => ({
    scale: 'x',
    font: theme.font,
    stroke: theme.quiet,
    size: last ? theme.rem * 2.2 : 0,
    gap: 6,
    grid: { stroke: theme.rule, width: 1 },
    ticks: { show: false },
    splits: (u, _axis, min, max) =>
      timeTicks(now().begin, min, max, Math.max(2, Math.floor(u.width / (theme.rem * 6)))),
    values: (_u, splits) => {
      if (!last) return splits.map(() => '');
      const step = splits.length > 1 ? splits[1]! - splits[0]! : 60;
      return splits.map((s) => tickText(now().begin, s, step));
    },
  });

  const resize = new ResizeObserver(() => {
    for (const [i, p] of panels.entries())
      p.plot.setSize({
        width: host.clientWidth,
        height: panelHeight(p.quantity, i === panels.length - 1, theme),
      });
  });
  resize.observe(host);
  const offTheme = onThemeChange(() => {
    theme = readTheme(host);
    render(true);
  });

  return {
    update: (next) => {
      input = next;
      render(false);
    },
    destroy: () => {
      resize.disconnect();
      offTheme();
      for (const p of panels) p.off();
      panels = [];
    },
  };
}

/** The current panel is the taller one: it spans decades. */
function panelHeight(quantity: PanelQuantity, last: boolean, theme: ChartTheme): number {
  const room = Math.min(window.innerHeight, 900);
  // On a narrow screen the rows of marks and both panels are to be seen at once.
  const narrow = window.innerWidth < 600 ? 0.8 : 1;
  const share = (quantity === 'current' ? 0.36 : 0.22) * narrow;
  return Math.round(Math.max(theme.rem * 8, room * share) + (last ? theme.rem * 2.2 : 0));
}
