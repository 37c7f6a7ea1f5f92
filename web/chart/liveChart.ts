import uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';
import { steadyRange, type AxisRange } from '../state/axis.ts';
import { RUNNING_S, type Trace } from '../state/live.ts';
import { thin } from '../state/thin.ts';
import { curveColour, valueAxis, valueScale } from './panel.ts';
import { onThemeChange, readTheme } from './theme.ts';

export interface LiveChartSource {
  readonly trace: () => Trace;
  /** The right edge, on the clock of the trace; null until it is known. */
  readonly nowMs: () => number | null;
}

/**
 * The last minute of one channel, redrawn at the screen's rate (twice a second where the reader asked for
 * less motion). Returns what takes it away.
 */
export function mountLiveChart(
  host: HTMLElement,
  quantity: 'voltage' | 'current',
  source: LiveChartSource,
): () => void {
  let theme = readTheme(host);
  let held: AxisRange | null = null;
  let plot = make();
  let frame = 0;
  let drawnAt = 0;
  const calm = matchMedia('(prefers-reduced-motion: reduce)');

  function make(): uPlot {
    const stroke = curveColour(quantity, theme);
    const scale = valueScale(quantity, 'stretched');
    const chart = new uPlot(
      {
        ...size(),
        padding: [theme.rem * 0.5, theme.rem * 1.25, 0, 0],
        legend: { show: false },
        cursor: { show: false },
        series: [{}, { scale: 'y', stroke, width: 2, spanGaps: false, points: { show: false } }],
        scales: {
          x: { time: false },
          y: {
            ...scale,
            range: (u, min, max) => {
              const fresh = (scale.range as (u: uPlot, a: number, b: number) => AxisRange)(u, min, max);
              held = steadyRange(held, fresh, quantity === 'current');
              return held;
            },
          },
        },
        axes: [
          {
            scale: 'x',
            font: theme.font,
            stroke: theme.quiet,
            size: theme.rem * 1.9,
            gap: 4,
            grid: { stroke: theme.rule, width: 1 },
            ticks: { show: false },
            splits: (_u, _axis, _min, max) => [60, 45, 30, 15, 0].map((s) => max - s * 1000),
            values: (_u, splits) =>
              splits.map((s) => {
                const ago = Math.round((splits[splits.length - 1]! - s) / 1000);
                return ago === 0 ? 'now' : `\u2212${ago} s`;
              }),
          },
          valueAxis(quantity, 'stretched', theme),
        ],
      },
      [[], []],
      host,
    );
    chart.root.setAttribute('aria-hidden', 'true');
    return chart;
  }

  function size(): { width: number; height: number } {
    return { width: host.clientWidth || 320, height: host.clientHeight || Math.round(theme.rem * 10) };
  }

  const draw = (at: number): void => {
    frame = requestAnimationFrame(draw);
    if (calm.matches && at - drawnAt < 500) return;
    const nowMs = source.nowMs();
    if (nowMs === null) return;
    drawnAt = at;
    // Two stretches a pixel: what is finer cannot be seen, but would cost frames at 200 readings a second.
    const columns = Math.max(200, plot.bbox.width / devicePixelRatio);
    const { t, y } = thin(source.trace(), (RUNNING_S * 1000) / (2 * columns));
    plot.batch(() => {
      plot.setData([t, y], false);
      plot.setScale('x', { min: nowMs - RUNNING_S * 1000, max: nowMs });
    });
  };
  frame = requestAnimationFrame(draw);

  const resize = new ResizeObserver(() => plot.setSize(size()));
  resize.observe(host);
  const offTheme = onThemeChange(() => {
    theme = readTheme(host);
    plot.destroy();
    plot = make();
  });
  return () => {
    cancelAnimationFrame(frame);
    resize.disconnect();
    offTheme();
    plot.destroy();
  };
}
