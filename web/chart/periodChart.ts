import type uPlot from 'uplot';
import type { Pulses } from '../../server/messages/pulses.ts';
import { evenTicks } from '../state/axis.ts';
import { tickText, timeTicks, type Beginning } from '../state/clocktime.ts';
import { mountPlot, type Plot } from './plot.ts';
import { axisWidth, faded } from './theme.ts';

export interface PeriodInput {
  readonly period: Pulses['period'];
  readonly begin: Beginning;
}

/** The period of a regime over time, with the scatter of its pulses as a band. */
export function mountPeriodChart(host: HTMLElement, input: PeriodInput): Plot<PeriodInput> {
  return mountPlot(host, input, ({ period, begin }, theme) => {
    const { atS, periodS, uncertaintyS } = period;
    const low = periodS.map((p, i) => p - uncertaintyS[i]!);
    const high = periodS.map((p, i) => p + uncertaintyS[i]!);
    return {
      data: [atS, low, high, periodS] as uPlot.AlignedData,
      options: {
        padding: [theme.rem * 0.5, theme.rem * 1.25, 0, 0],
        legend: { show: false },
        cursor: { show: false },
        scales: {
          x: { time: false },
          y: {
            // Never closer than a thousandth of the period: what wobbles less stands still for our purposes.
            range: (_u, min, max) => {
              const middle = (min + max) / 2;
              const half = Math.max((max - min) * 0.56, middle * 5e-4);
              return [middle - half, middle + half];
            },
          },
        },
        series: [
          {},
          { scale: 'y', width: 0, stroke: 'transparent', points: { show: false } },
          { scale: 'y', width: 0, stroke: 'transparent', points: { show: false } },
          { scale: 'y', width: 2, stroke: theme.poll, points: { show: periodS.length < 80, size: 5 } },
        ],
        bands: [{ series: [2, 1], fill: faded(theme.poll, 0.3) }],
        axes: [
          {
            scale: 'x',
            font: theme.font,
            stroke: theme.quiet,
            size: theme.rem * 1.9,
            gap: 4,
            grid: { stroke: theme.rule, width: 1 },
            ticks: { show: false },
            splits: (u, _axis, min, max) =>
              timeTicks(begin, min, max, Math.max(2, Math.floor(u.width / (theme.rem * 6)))),
            values: (_u, splits) => {
              const step = splits.length > 1 ? splits[1]! - splits[0]! : 60;
              return splits.map((s) => tickText(begin, s, step));
            },
          },
          {
            scale: 'y',
            size: axisWidth(theme.rem) * 1.15,
            font: theme.font,
            stroke: theme.quiet,
            gap: 6,
            grid: { stroke: theme.rule, width: 1 },
            ticks: { show: false },
            splits: (u, _axis, min, max) =>
              evenTicks(
                min,
                max,
                Math.max(2, Math.floor(u.bbox.height / devicePixelRatio / (theme.rem * 2.2))),
              ),
            values: (_u, splits) => {
              const step = splits.length > 1 ? splits[1]! - splits[0]! : 1;
              const places = Math.min(6, Math.max(0, Math.ceil(-Math.log10(step) - 1e-9)));
              return splits.map((v) => `${v.toFixed(places)}\u00a0s`);
            },
          },
        ],
      },
    };
  });
}
