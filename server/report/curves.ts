import type { ReportInput, Reader } from './input.ts';
import type { Curve } from './model.ts';

/** Parts of the night that the chart tells apart. */
export const CHART_PARTS = 600;

/** What the chart shows of each channel. */
export function curvesOf({ recording, extremes, findings }: ReportInput, reader: Reader): Curve[] {
  return recording.channels.flatMap(({ quantity, label }, k): Curve[] => {
    const { t, min, max } = extremes[k]!;
    if (t.length === 0) return [];
    const unit = { current: 'A', voltage: 'V', temperature: 'degC' } as const;
    const whole: Curve = {
      label: label === '' ? quantity : label,
      unit: unit[quantity],
      t: [...t],
      min: [...min],
      max: [...max],
      cutAt: null,
    };
    const asleepS = findings.sleep.state === 'slept' ? (findings.sleep.timeToSleepS ?? 0) : 0;
    const cutAt = quantity === 'current' && reader === 'workshop' ? enlargedTop(whole, asleepS) : null;
    return cutAt === null ? [whole] : [whole, { ...whole, label: `${whole.label}, enlarged`, cutAt }];
  });
}

/** Where the night's draw would be a flat line under the peaks of the first minutes. */
function enlargedTop({ t, max }: Curve, asleepS: number): number | null {
  const asleep = max.filter((_, i) => t[i]! > asleepS).sort((a, b) => a - b);
  const usual = asleep[Math.floor(0.95 * asleep.length)];
  const highest = max.reduce((a, b) => Math.max(a, b), 0);
  return usual === undefined || usual <= 0 || highest < 6 * usual ? null : 1.5 * usual;
}
