import { z } from 'zod';
import { caseAttemptsSchema, type CaseAttempts } from '../messages/attempts.ts';
import { noteSchema, photoSchema } from '../messages/casePapers.ts';
import { checklistSchema, type Checklist } from '../messages/checklist.ts';
import { fuseWalkSchema, type FuseWalk } from '../messages/fuses.ts';
import { recordedMeterSchema, type RecordedMeterRecord } from '../messages/meterRecord.ts';
import { zeroCheckSchema, type ZeroCheck } from '../messages/zeroCheck.ts';
import { document, readDocument, type Part } from './statement.ts';
import type { Members } from './zip.ts';

/** What goes along with the samples: meters, checklist, tries at the handle, fuse walk, and the papers of the case. */
export interface Attachments {
  readonly meters: readonly RecordedMeterRecord[];
  readonly zeroChecks: readonly ZeroCheck[];
  readonly checklist: Checklist | null;
  /** Of the whole case; null where there is none. */
  readonly attempts: CaseAttempts | null;
  readonly circuits: FuseWalk | null;
  readonly photos: readonly AttachedPhoto[];
  readonly notes: readonly z.infer<typeof attachedNoteSchema>[];
}

const aboutPhotoSchema = photoSchema.pick({ kind: true, caption: true, addedAt: true, type: true });
const attachedNoteSchema = noteSchema.pick({ addedAt: true, text: true });

export interface AttachedPhoto extends z.infer<typeof aboutPhotoSchema> {
  readonly octets: Uint8Array;
}

const metersSchema = z.strictObject({
  schema: z.literal('nightdraw.meters/1'),
  meters: z.array(recordedMeterSchema),
  zeroChecks: z.array(zeroCheckSchema),
});
const checkedSchema = checklistSchema.extend({ schema: z.literal('nightdraw.checklist/1') });
const attemptsSchema = caseAttemptsSchema.extend({ schema: z.literal('nightdraw.attempts/1') });
const circuitsSchema = fuseWalkSchema.extend({ schema: z.literal('nightdraw.circuits/1') });
const photosSchema = z.strictObject({
  schema: z.literal('nightdraw.photos/1'),
  photos: z.array(aboutPhotoSchema.extend({ file: z.string() })),
});
const notesSchema = z.strictObject({
  schema: z.literal('nightdraw.notes/1'),
  notes: z.array(attachedNoteSchema),
});

/** By their names under data/; what is empty has no file. Without identity what a person wrote is left out. */
export function attachmentFiles(a: Attachments, without: readonly Part[]): Map<string, Uint8Array> {
  const anonymous = without.includes('identity');
  const files = new Map<string, Uint8Array>();
  const put = (name: string, schema: string, content: object) =>
    void files.set(`${name}.json`, document({ schema: `nightdraw.${schema}/1`, ...content }));
  const { meters, zeroChecks, checklist, attempts, circuits, notes } = a;
  if (meters.length + zeroChecks.length > 0) put('meters', 'meters', { meters, zeroChecks });
  if (checklist !== null) put('checklist', 'checklist', checklist);
  if (attempts !== null && attempts.attempts.length > 0)
    put('attempts', 'attempts', anonymous ? withoutWords(attempts) : attempts);
  if (circuits !== null && circuits.lines.length > 0 && !anonymous) put('circuits', 'circuits', circuits);
  if (notes.length > 0 && !anonymous) put('notes', 'notes', { notes });
  if (a.photos.length === 0 || without.includes('photos')) return files;
  const photos = a.photos.map(({ octets, ...about }, i) => {
    const file = `photos/${String(i + 1).padStart(4, '0')}.${about.type === 'image/png' ? 'png' : 'jpg'}`;
    files.set(file, octets);
    return { ...about, caption: anonymous ? '' : about.caption, file: `data/${file}` };
  });
  put('photos', 'photos', { photos });
  return files;
}

/** @throws RangeError where a file is not what its place says */
export function readAttachments(payload: Members): Attachments {
  const read = <T extends { readonly schema: string }>(
    name: string,
    schema: z.ZodType<T>,
  ): Omit<T, 'schema'> | null => {
    const octets = payload.get(`data/${name}.json`);
    if (octets === undefined) return null;
    const { schema: _schema, ...rest } = readDocument(schema, octets);
    return rest;
  };
  const meters = read('meters', metersSchema);
  const photos = read('photos', photosSchema)?.photos ?? [];
  return {
    meters: meters?.meters ?? [],
    zeroChecks: meters?.zeroChecks ?? [],
    checklist: read('checklist', checkedSchema),
    attempts: read('attempts', attemptsSchema),
    circuits: read('circuits', circuitsSchema),
    photos: photos.map(({ file, ...about }) => {
      const octets = payload.get(file);
      if (octets === undefined) throw new RangeError(`${file} is missing`);
      return { ...about, octets };
    }),
    notes: read('notes', notesSchema)?.notes ?? [],
  };
}

export function withoutWords(all: CaseAttempts): CaseAttempts {
  return { ...all, attempts: all.attempts.map((a) => ({ ...a, recordingTitle: '', text: '' })) };
}
