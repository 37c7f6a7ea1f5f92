import { estimateText } from '../messages/figures.ts';
import type { FuseLine } from '../messages/fuses.ts';
import type { ReportInput } from './input.ts';
import type { Section } from './model.ts';

/** The fuse walk: which circuit carries how much. */
export function circuitsSection({ fuses }: ReportInput): Section {
  const title = 'Circuits';
  if (fuses === null || fuses.lines.length === 0) return { title, paragraphs: [], facts: [], bullets: [] };
  const amps = (e: FuseLine['currentA']) => estimateText(e, 'current') ?? 'no figure';
  return {
    title,
    paragraphs: [],
    facts: [
      ...fuses.lines.map((line) => [
        line.place,
        amps(line.currentA),
        [
          line.measured.way === 'drop'
            ? `${line.measured.millivolts} mV across a ${line.measured.rating} A fuse (${line.measured.kind})`
            : 'fuse pulled',
          line.says,
        ]
          .filter(Boolean)
          .join('; '),
      ]),
      ['Sum', amps(fuses.sumA), ''],
      ...(fuses.clampA === null ? [] : [['By the clamp', amps(fuses.clampA), '']]),
      ...(fuses.unexplainedA === null ? [] : [['Not explained', amps(fuses.unexplainedA), '']]),
    ],
    bullets: fuses.says,
  };
}
