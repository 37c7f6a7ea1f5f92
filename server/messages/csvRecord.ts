import { z } from 'zod';
import { channelInputSchema, eventSchema, gapSchema, recordingSchema } from './records.ts';

/**
 * What an exported CSV says besides its samples, so that importing it gives the same recording back: one JSON
 * object in a cell of the column "nightdraw". The first cell describes the recording, with its channels in the
 * order of the value columns; events and gaps have a row each, at their time.
 */
export const CSV_RECORD_COLUMN = 'nightdraw';

export const csvRecordingSchema = z.strictObject({
  ...recordingSchema.pick({ title: true, startedAt: true, zone: true, durationMs: true, provenance: true })
    .shape,
  channels: z.array(channelInputSchema).max(64),
});
export type CsvRecording = z.infer<typeof csvRecordingSchema>;

/** A gap with its channel's place among the value columns, from 0. */
export const csvGapSchema = gapSchema.omit({ channelId: true }).extend({ channel: z.int().nonnegative() });
export type CsvGap = z.infer<typeof csvGapSchema>;

export const csvCellSchema = z.union([
  z.strictObject({ recording: csvRecordingSchema }),
  z.strictObject({ event: eventSchema }),
  z.strictObject({ gap: csvGapSchema }),
]);
export type CsvCell = z.infer<typeof csvCellSchema>;
