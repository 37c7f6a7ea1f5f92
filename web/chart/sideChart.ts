import type uPlot from 'uplot';
import { elapsedText } from '../state/clocktime.ts';
import type { CurrentScale } from '../state/axis.ts';
import type { Curve } from '../state/curve.ts';
import { curveSeries, valueAxis, valueScale, type PanelQuantity } from './panel.ts';
import { mountPlot, numberAxis, type Plot } from './plot.ts';

/** One of two nights under each other: both are drawn with the same ranges, so that they can be judged by eye. */
export interface SideInput {
  readonly curve: Curve;
  readonly quantity: PanelQuantity;
  readonly scale: CurrentScale;
  /** Seconds of the recording that count as zero. */
  readonly zeroS: number;
  /** Of both nights, seconds from zero and values. */
  readonly span: readonly [number, number];
  readonly ends: readonly [number, number];
}

export function mountSideChart(host: HTMLElement, input: SideInput): Plot<SideInput> {
  return mountPlot(host, input, ({ curve, quantity, scale, zeroS, span, ends }, theme) => {
    const { series, bands } = curveSeries([curve], theme, () => curve.raw);
    const y = valueScale(quantity, scale);
    const range = y.range as (u: uPlot, min: number, max: number) => [number, number];
    return {
      data: [curve.t.map((t) => t - zeroS), curve.low, curve.high] as uPlot.AlignedData,
      options: {
        padding: [theme.rem * 0.5, theme.rem * 1.25, 0, 0],
        legend: { show: false },
        cursor: { show: false },
        scales: {
          x: { time: false, range: () => [span[0], span[1]] },
          y: { ...y, range: (u) => range(u, ends[0], ends[1]) },
        },
        series: [...series],
        bands: [...bands],
        axes: [
          {
            ...numberAxis(theme, (s) => (s < 0 ? `\u2212${elapsedText(-s)}` : elapsedText(s))),
            incrs: [
              60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400, 172_800, 432_000,
            ],
          },
          valueAxis(quantity, scale, theme),
        ],
      },
    };
  });
}
