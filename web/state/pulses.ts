import { estimateText, figureText } from '../../server/messages/figures.ts';
import type { Findings, Regime } from '../../server/messages/findings.ts';
import type { Pulses, PulsesQuery } from '../../server/messages/pulses.ts';

/** Regimes whose pulses can be laid over each other, with what to ask the server for. */
export function foldable(f: Findings): { readonly regime: Regime; readonly query: PulsesQuery }[] {
  const quantity = f.polling.seenIn;
  if (quantity === null) return [];
  return f.polling.regimes.flatMap((regime) =>
    regime.periodS === null || regime.endS <= regime.startS
      ? []
      : [
          {
            regime,
            query: { quantity, startS: regime.startS, endS: regime.endS, periodS: regime.periodS.value },
          },
        ],
  );
}

/** "12867 pulses over each other; between them 20.0 mA, at their highest 150 mA, for about 61 ms." */
export function foldSentence(fold: NonNullable<Pulses['fold']>, quantity: 'current' | 'voltage'): string {
  const known = fold.median.filter((m) => m !== null);
  const sorted = [...known].sort((a, b) => a - b);
  const [low, high] = [sorted[0] ?? 0, sorted[sorted.length - 1] ?? 0];
  const first = known[0] ?? 0;
  const dip = Math.abs(first - high) < Math.abs(first - low);
  const half = (low + high) / 2;
  const step = (fold.toS - fold.fromS) / fold.t.length;
  const width = fold.median.filter((m) => m !== null && (dip ? m < half : m > half)).length * step;
  const figure = (v: number): string => figureText(v, quantity);
  return [
    `${fold.pulses} pulses over each other`,
    `${figure(dip ? high : low)} between them, ${figure(dip ? low : high)} at their ${dip ? 'lowest' : 'highest'}`,
    `about ${figureText(width, 'width')} wide as this meter sees them`,
  ].join('; ');
}

/** Whether the period stands still or walks, by no more than its scatter lets one say. */
export function periodSentence(p: Pulses['period']): string {
  const n = p.periodS.length;
  if (n < 6) return 'Too few pulses to follow the period over time.';
  const part = Math.max(2, Math.floor(n / 4));
  const mean = (from: number, to: number): { value: number; u: number } => {
    const values = p.periodS.slice(from, to);
    const us = p.uncertaintyS.slice(from, to);
    return {
      value: values.reduce((a, b) => a + b, 0) / values.length,
      u: Math.hypot(...us) / us.length,
    };
  };
  const [start, end] = [mean(0, part), mean(n - part, n)];
  const change = end.value - start.value;
  const u = Math.hypot(start.u, end.u);
  const text = estimateText({ value: start.value, expandedUncertainty: Math.max(u, 1e-9) }, 'period')!;
  if (Math.abs(change) <= u) return `The period stands still at ${text}.`;
  const perMillion = Math.round((Math.abs(change) / start.value) * 1e6);
  const size =
    perMillion >= 1000 ? `${Number((perMillion / 1e4).toPrecision(2))} %` : `${perMillion} millionths`;
  return `The period begins at ${text} and ${change > 0 ? 'grows' : 'shrinks'} by ${size} to the end.`;
}
