import uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';
import { onThemeChange, readTheme, type ChartTheme } from './theme.ts';

/** What a small chart is made of; its size and colours come from the page. */
export type PlotOptions = Omit<uPlot.Options, 'width' | 'height'>;

export interface Plot<T> {
  update(input: T): void;
  destroy(): void;
}

/**
 * A chart that fills its host, follows its width and is made anew with the page's colours. `make` gives options
 * and data for what is to be shown.
 */
export function mountPlot<T>(
  host: HTMLElement,
  first: T,
  make: (input: T, theme: ChartTheme) => { readonly options: PlotOptions; readonly data: uPlot.AlignedData },
): Plot<T> {
  let input = first;
  let theme = readTheme(host);
  let plot = draw();

  function draw(): uPlot {
    const { options, data } = make(input, theme);
    const chart = new uPlot({ ...options, ...size() }, data, host);
    chart.root.setAttribute('aria-hidden', 'true');
    return chart;
  }
  function size(): { width: number; height: number } {
    return { width: host.clientWidth || 320, height: host.clientHeight || Math.round(theme.rem * 12) };
  }
  function again(): void {
    plot.destroy();
    plot = draw();
  }

  const resize = new ResizeObserver(() => plot.setSize(size()));
  resize.observe(host);
  const offTheme = onThemeChange(() => {
    theme = readTheme(host);
    again();
  });
  return {
    update: (next) => {
      input = next;
      again();
    },
    destroy: () => {
      resize.disconnect();
      offTheme();
      plot.destroy();
    },
  };
}

/** A horizontal axis of plain numbers. */
export function numberAxis(theme: ChartTheme, text: (value: number, step: number) => string): uPlot.Axis {
  return {
    scale: 'x',
    font: theme.font,
    stroke: theme.quiet,
    size: theme.rem * 1.9,
    gap: 4,
    grid: { stroke: theme.rule, width: 1 },
    ticks: { show: false },
    space: theme.rem * 5,
    values: (_u, splits) => splits.map((v) => text(v, splits.length > 1 ? splits[1]! - splits[0]! : 1)),
  };
}
