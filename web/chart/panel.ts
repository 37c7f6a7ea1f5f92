import type uPlot from 'uplot';
import {
  currentRange,
  currentTickText,
  evenTicks,
  EVEN_BELOW_A,
  stretchedTicks,
  voltageRange,
  voltageTickText,
  type CurrentScale,
} from '../state/axis.ts';
import type { Curve } from '../state/curve.ts';
import { axisWidth, faded, type ChartTheme } from './theme.ts';

/** Options that every panel of ours shares, and those of the voltage and current panels. */

export type PanelQuantity = 'voltage' | 'current' | 'temperature';

export function valueScale(quantity: PanelQuantity, scale: CurrentScale): uPlot.Scale {
  if (quantity === 'current') {
    return {
      ...(scale === 'stretched' ? { distr: 4 as const, asinh: EVEN_BELOW_A } : {}),
      range: (_u, min, max) => currentRange(min, max, scale),
    };
  }
  return { range: (_u, min, max) => voltageRange(min, max) };
}

export function valueAxis(quantity: PanelQuantity, scale: CurrentScale, theme: ChartTheme): uPlot.Axis {
  const least = (theme.rem * 1.5) / 1;
  return {
    scale: 'y',
    size: axisWidth(theme.rem),
    font: theme.font,
    stroke: theme.quiet,
    gap: 6,
    grid: { stroke: theme.rule, width: 1 },
    ticks: { show: false },
    splits: (u, _axis, min, max) => {
      const height = u.bbox.height / devicePixelRatio || 1;
      return quantity === 'current' && scale === 'stretched'
        ? stretchedTicks(min, max, least / height)
        : evenTicks(min, max, Math.max(2, Math.floor(height / (theme.rem * 2.2))));
    },
    values: (_u, splits) => {
      const step = splits.length > 1 ? Math.abs(splits[1]! - splits[0]!) : 1;
      return splits.map((v) =>
        quantity === 'current'
          ? currentTickText(v)
          : quantity === 'voltage'
            ? voltageTickText(v, step)
            : `${Number(v.toPrecision(4))} °C`,
      );
    },
    // Without this uPlot hides labels of a logarithmic axis that are not powers of ten.
    filter: (_u, splits) => splits,
  };
}

export function curveColour(quantity: PanelQuantity, theme: ChartTheme): string {
  return quantity === 'current' ? theme.amp : quantity === 'voltage' ? theme.volt : theme.log;
}

/** So many readings in view are shown one by one. */
const MOST_DOTS = 150;

const DASHES = [[], [6, 3], [2, 3]];

/** Lowest, highest and the band between them, for each curve of one quantity; later ones are dashed. */
export function curveSeries(
  curves: readonly Curve[],
  theme: ChartTheme,
  isRaw: (curve: number) => boolean,
): { readonly series: uPlot.Series[]; readonly bands: uPlot.Band[] } {
  const series: uPlot.Series[] = [{}];
  const bands: uPlot.Band[] = [];
  curves.forEach((curve, i) => {
    const stroke = curveColour(curve.quantity, theme);
    const common: uPlot.Series = {
      scale: 'y',
      stroke,
      width: 1.5,
      dash: DASHES[i % DASHES.length]!,
      spanGaps: false,
      points: {
        // Asked at each drawing: the same panel shows extremes from afar and single readings from nearby.
        show: (_u, _series, from, to) => isRaw(i) && to - from < MOST_DOTS,
        size: 5,
        fill: stroke,
        stroke,
      },
    };
    series.push({ ...common }, { ...common });
    bands.push({ series: [2 * i + 2, 2 * i + 1], fill: faded(stroke, 0.4) });
  });
  return { series, bands };
}

/** Each panel has one time column; curves with other times are put on the union of all. */
export function joinedData(
  curves: readonly Curve[],
  join: (tables: uPlot.AlignedData[]) => uPlot.AlignedData,
) {
  const tables = curves.map((c) => [c.t, c.low, c.high] as uPlot.AlignedData);
  if (tables.length === 0) return [[]] as unknown as uPlot.AlignedData;
  return tables.length === 1 ? tables[0]! : join(tables);
}
