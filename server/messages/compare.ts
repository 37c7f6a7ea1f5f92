import { z } from 'zod';
import { estimateSchema } from './findings.ts';

/** Before and after: two recordings, figure by figure. Changes are after minus before. */

export const COMPARED_FIGURES = [
  'time-to-sleep',
  'settled-baseline',
  'average-after-sleep',
  'average-last-hour',
  'polling-period',
  'polling-draw',
  'wake-ups-a-day',
  'rest-voltage',
  'state-of-charge',
  'source-resistance',
  'days-to-unreliable',
] as const;

/** How a figure is written; the same words as in server/messages/figures.ts, and two of our own. */
export const COMPARED_KINDS = [
  'current',
  'voltage',
  'period',
  'percent',
  'resistance',
  'days',
  'duration',
  'count',
] as const;

export const comparedFigureSchema = z.strictObject({
  figure: z.enum(COMPARED_FIGURES),
  label: z.string(),
  kind: z.enum(COMPARED_KINDS),
  /** SI; null where that recording does not give the figure. */
  before: z.number().nullable(),
  after: z.number().nullable(),
  beforeUncertainty: z.number().nonnegative().nullable(),
  afterUncertainty: z.number().nonnegative().nullable(),
  /** Null where a figure is missing or carries no uncertainty. */
  change: estimateSchema,
  /** "unclear": smaller than its uncertainty. "not-judged": no uncertainty is known. "missing": not in both. */
  verdict: z.enum(['rose', 'fell', 'unclear', 'not-judged', 'missing']),
  sentence: z.string(),
});
export type ComparedFigure = z.infer<typeof comparedFigureSchema>;

const sideSchema = z.strictObject({
  title: z.string(),
  startedAt: z.iso.datetime({ offset: true }).nullable(),
  durationS: z.number().nonnegative(),
});

export const comparisonSchema = z.strictObject({
  schema: z.literal('nightdraw.comparison/1'),
  before: sideSchema,
  after: sideSchema,
  figures: z.array(comparedFigureSchema),
  /** What changed, what did not show, and what stands against the comparison, in words. */
  says: z.array(z.string()),
});
export type Comparison = z.infer<typeof comparisonSchema>;
