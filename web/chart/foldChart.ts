import type uPlot from 'uplot';
import type { Pulses } from '../../server/messages/pulses.ts';
import { curveColour, valueAxis, valueScale } from './panel.ts';
import { mountPlot, numberAxis, type Plot } from './plot.ts';
import { faded } from './theme.ts';

export interface FoldInput {
  readonly fold: NonNullable<Pulses['fold']>;
  readonly quantity: 'current' | 'voltage';
}

/** All pulses of a regime over each other: readings as dots, their middle half as a band, the median as a line. */
export function mountFoldChart(host: HTMLElement, input: FoldInput): Plot<FoldInput> {
  return mountPlot(host, input, ({ fold, quantity }, theme) => {
    const colour = curveColour(quantity, theme);
    const dots = (u: uPlot): void => {
      const { ctx } = u;
      const px = devicePixelRatio;
      ctx.save();
      ctx.beginPath();
      ctx.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height);
      ctx.clip();
      ctx.fillStyle = faded(colour, 0.45);
      fold.points.t.forEach((t, i) => {
        const x = u.valToPos(t, 'x', true);
        const y = u.valToPos(fold.points.y[i]!, 'y', true);
        ctx.fillRect(x - px, y - px, 2 * px, 2 * px);
      });
      ctx.restore();
    };
    return {
      data: [fold.t, fold.lower, fold.upper, fold.median] as uPlot.AlignedData,
      options: {
        padding: [theme.rem * 0.5, theme.rem * 1.25, 0, 0],
        legend: { show: false },
        cursor: { show: false },
        scales: {
          x: { time: false, range: () => [fold.fromS, fold.toS] },
          y: {
            // What is drawn beyond the columns belongs to the range too.
            range: (u) => {
              const [low, high] = ends(fold.points.y);
              return (
                valueScale(quantity, 'even').range as (u: uPlot, a: number, b: number) => [number, number]
              )(u, low, high);
            },
          },
        },
        series: [
          {},
          { scale: 'y', width: 0, stroke: 'transparent', points: { show: false } },
          { scale: 'y', width: 0, stroke: 'transparent', points: { show: false } },
          { scale: 'y', width: 2.5, stroke: theme.ink, spanGaps: true, points: { show: false } },
        ],
        bands: [{ series: [2, 1], fill: faded(colour, 0.35) }],
        axes: [
          numberAxis(theme, (s) => `${Number((s * 1000).toPrecision(4))}\u00a0ms`),
          valueAxis(quantity, 'even', theme),
        ],
        hooks: { drawAxes: [dots] },
      },
    };
  });
}

/** Without the few readings that belong to something else: they would press the pulses flat. */
function ends(values: readonly number[]): [number, number] {
  const sorted = [...values].sort((a, b) => a - b);
  const out = Math.floor(sorted.length / 500);
  return [sorted[out] ?? 0, sorted[sorted.length - 1 - out] ?? 0];
}
