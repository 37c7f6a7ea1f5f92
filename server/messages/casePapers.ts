import { z } from 'zod';
import { caseAttemptsSchema } from './attempts.ts';
import { checklistSchema } from './checklist.ts';
import { eventSchema, idSchema, recordingSchema } from './records.ts';
import { zeroCheckSchema } from './zeroCheck.ts';

/** What a case holds besides its recordings: photos and notes; and all of it along one time. */

export const PHOTO_KINDS = ['hook-up', 'display', 'battery-label', 'other'] as const;
export type PhotoKind = (typeof PHOTO_KINDS)[number];

/** The page makes photos smaller than this; more is refused. */
export const PHOTO_MOST_BYTES = 3 * 1024 * 1024;
/** Longest edge of a photo in pixels, as the page makes them and as the server accepts them. */
export const PHOTO_MOST_PIXELS = 2400;
/** Of one case. */
export const PHOTOS_MOST = 100;

export const photoTypeSchema = z.enum(['image/jpeg', 'image/png']);

export const photoInputSchema = z.strictObject({
  kind: z.enum(PHOTO_KINDS).default('other'),
  caption: z.string().trim().max(200).default(''),
});
export type PhotoInput = z.infer<typeof photoInputSchema>;

export const photoSchema = photoInputSchema.extend({
  id: idSchema,
  caseId: idSchema,
  addedAt: z.iso.datetime(),
  type: photoTypeSchema,
  bytes: z.int().positive(),
  widthPx: z.int().positive(),
  heightPx: z.int().positive(),
  /** Of the stored octets, hex. */
  sha256: z.string().regex(/^[0-9a-f]{64}$/),
});
export type Photo = z.infer<typeof photoSchema>;
export const photoListSchema = z.array(photoSchema);

export const noteInputSchema = z.strictObject({ text: z.string().trim().min(1).max(4000) });
export type NoteInput = z.infer<typeof noteInputSchema>;
export const noteSchema = noteInputSchema.extend({
  id: idSchema,
  caseId: idSchema,
  addedAt: z.iso.datetime(),
});
export type Note = z.infer<typeof noteSchema>;

export const archiveSchema = z.strictObject({ archived: z.boolean() });

/** For so many days what was deleted can be brought back; after that it is removed for good. */
export const UNDO_DAYS = 30;

/** All of a case, for its page. Findings are asked for recording by recording. */
export const caseTimelineSchema = z.strictObject({
  recordings: z.array(
    z.strictObject({
      recording: recordingSchema,
      events: z.array(eventSchema),
      zeroChecks: z.array(zeroCheckSchema),
      checklist: checklistSchema.nullable(),
    }),
  ),
  attempts: caseAttemptsSchema,
  photos: photoListSchema,
  notes: z.array(noteSchema),
});
export type CaseTimeline = z.infer<typeof caseTimelineSchema>;
