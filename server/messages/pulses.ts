import { z } from 'zod';

/** The pulses of one polling regime from nearby: laid over each other, and their period over time. */

export const pulsesQuerySchema = z
  .object({
    quantity: z.enum(['current', 'voltage']),
    startS: z.coerce.number().nonnegative(),
    endS: z.coerce.number().positive(),
    periodS: z.coerce.number().positive().max(3600),
  })
  .refine((q) => q.endS > q.startS, { message: 'the end lies before the beginning' });
export type PulsesQuery = z.infer<typeof pulsesQuerySchema>;

const column = z.array(z.number());
/** Null where no reading fell. */
const holed = z.array(z.number().nullable());

export const pulsesSchema = z.strictObject({
  /** The part of the regime that was looked at, 0..1: of a very long one evenly spaced stretches. */
  share: z.number().min(0).max(1),
  /** Seconds from the pulse's beginning, values in A or V; null where the readings show no shape. */
  fold: z
    .strictObject({
      fromS: z.number(),
      toS: z.number(),
      t: column,
      median: holed,
      /** The middle half of the readings. */
      lower: holed,
      upper: holed,
      points: z.strictObject({ t: column, y: column }),
      readings: z.int().nonnegative(),
      pulses: z.int().nonnegative(),
    })
    .nullable(),
  /** Seconds; `uncertaintyS` is expanded, k = 2, from the scatter of the pulses. */
  period: z.strictObject({ atS: column, periodS: column, uncertaintyS: column }),
});
export type Pulses = z.infer<typeof pulsesSchema>;
