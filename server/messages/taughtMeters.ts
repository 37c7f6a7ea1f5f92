import { z } from 'zod';
import { meterDescriptionSchema, type MeterDescription } from '../../drivers/teach/description.ts';
import { idSchema } from './records.ts';

export { meterDescriptionSchema, type MeterDescription };

/** A meter description as it is kept; drivers/teach/FORMAT.md describes its fields. */
export const taughtMeterSchema = z.strictObject({
  id: idSchema,
  addedAt: z.iso.datetime(),
  description: meterDescriptionSchema,
});
export type TaughtMeter = z.infer<typeof taughtMeterSchema>;

export const taughtMeterListSchema = z.array(taughtMeterSchema);
