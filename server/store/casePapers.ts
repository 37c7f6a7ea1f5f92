import { createHash } from 'node:crypto';
import type Database from 'better-sqlite3';
import {
  PHOTO_MOST_BYTES,
  PHOTO_MOST_PIXELS,
  PHOTOS_MOST,
  photoSchema,
  type Note,
  type Photo,
} from '../messages/casePapers.ts';
import { checklistSchema } from '../messages/checklist.ts';
import { NightdrawError } from '../messages/errors.ts';
import { readPicture } from '../messages/picture.ts';
import { noCase } from './cases.ts';
import { newId } from './ids.ts';
import { noRecording } from './recordings.ts';
import type { Store } from './store.ts';

interface PhotoRow {
  id: string;
  case_id: string;
  added_at: string;
  kind: string;
  caption: string;
  type: string;
  width_px: number;
  height_px: number;
  sha256: string;
  size: number;
}

interface NoteRow {
  id: string;
  case_id: string;
  added_at: string;
  text: string;
}

const noPhoto = () => new NightdrawError('not-found', 'There is no such photo.');
const noNote = () => new NightdrawError('not-found', 'There is no such note.');

const photoOf = (row: PhotoRow): Photo =>
  photoSchema.parse({
    id: row.id,
    caseId: row.case_id,
    addedAt: row.added_at,
    kind: row.kind,
    caption: row.caption,
    type: row.type,
    widthPx: row.width_px,
    heightPx: row.height_px,
    sha256: row.sha256,
    bytes: row.size,
  });
const noteOf = (row: NoteRow): Note => ({
  id: row.id,
  caseId: row.case_id,
  addedAt: row.added_at,
  text: row.text,
});

type PaperMethods = Pick<
  Store,
  | 'addPhoto'
  | 'listPhotos'
  | 'readPhoto'
  | 'changePhoto'
  | 'deletePhoto'
  | 'restorePhoto'
  | 'addNote'
  | 'listNotes'
  | 'changeNote'
  | 'deleteNote'
  | 'restoreNote'
  | 'readChecklist'
  | 'writeChecklist'
>;

const PHOTO = `SELECT p.id, p.case_id, p.added_at, p.kind, p.caption, p.type, p.width_px, p.height_px, p.sha256,
  length(p.bytes) AS size FROM photos p JOIN cases c ON c.id = p.case_id AND c.deleted_at IS NULL`;
const NOTE = 'SELECT n.* FROM notes n JOIN cases c ON c.id = n.case_id AND c.deleted_at IS NULL';

/** Photos and notes of a case, and the checklist of a recording. */
export function paperMethods(db: Database.Database): PaperMethods {
  const caseExists = db.prepare('SELECT 1 FROM cases WHERE id = ? AND deleted_at IS NULL').pluck();
  const recordingExists = db.prepare('SELECT 1 FROM recordings WHERE id = ?').pluck();
  const addPhoto = db.prepare(
    `INSERT INTO photos (id, case_id, added_at, kind, caption, type, width_px, height_px, sha256, bytes)
     VALUES (@id, @caseId, @addedAt, @kind, @caption, @type, @widthPx, @heightPx, @sha256, @octets)`,
  );
  const onePhoto = db.prepare<[string], PhotoRow>(`${PHOTO} WHERE p.id = ? AND p.deleted_at IS NULL`);
  const photos = db.prepare<[string], PhotoRow>(
    `${PHOTO} WHERE p.case_id = ? AND p.deleted_at IS NULL ORDER BY p.seq`,
  );
  const octetsOf = db.prepare<[string], Buffer>('SELECT bytes FROM photos WHERE id = ?').pluck();
  const changePhoto = db.prepare(
    'UPDATE photos SET kind = ?, caption = ? WHERE id = ? AND deleted_at IS NULL',
  );
  const dropPhoto = db.prepare('UPDATE photos SET deleted_at = ? WHERE id = ? AND deleted_at IS NULL');
  const bringPhoto = db.prepare('UPDATE photos SET deleted_at = NULL WHERE id = ?');
  const addNote = db.prepare('INSERT INTO notes (id, case_id, added_at, text) VALUES (?, ?, ?, ?)');
  const oneNote = db.prepare<[string], NoteRow>(`${NOTE} WHERE n.id = ? AND n.deleted_at IS NULL`);
  const notes = db.prepare<[string], NoteRow>(
    `${NOTE} WHERE n.case_id = ? AND n.deleted_at IS NULL ORDER BY n.seq`,
  );
  const changeNote = db.prepare('UPDATE notes SET text = ? WHERE id = ? AND deleted_at IS NULL');
  const dropNote = db.prepare('UPDATE notes SET deleted_at = ? WHERE id = ? AND deleted_at IS NULL');
  const bringNote = db.prepare('UPDATE notes SET deleted_at = NULL WHERE id = ?');
  const checklist = db
    .prepare<[string], string>('SELECT checklist FROM checklists WHERE recording_id = ?')
    .pluck();
  const keepChecklist = db.prepare(
    `INSERT INTO checklists (recording_id, checklist) VALUES (?, ?)
     ON CONFLICT DO UPDATE SET checklist = excluded.checklist`,
  );

  const requireCase = (id: string): void => {
    if (caseExists.get(id) === undefined) throw noCase();
  };
  const photoRow = (id: string): PhotoRow => {
    const row = onePhoto.get(id);
    if (row === undefined) throw noPhoto();
    return row;
  };
  const note = (id: string): Note => {
    const row = oneNote.get(id);
    if (row === undefined) throw noNote();
    return noteOf(row);
  };
  const listPhotos = (caseId: string): Photo[] => {
    requireCase(caseId);
    return photos.all(caseId).map(photoOf);
  };

  return {
    addPhoto: (caseId, { kind, caption }, octets) =>
      db
        .transaction(() => {
          const picture = acceptedPicture(octets, listPhotos(caseId).length);
          const id = newId();
          addPhoto.run({
            ...picture,
            id,
            caseId,
            kind,
            caption,
            addedAt: new Date().toISOString(),
            sha256: createHash('sha256').update(picture.octets).digest('hex'),
          });
          return photoOf(photoRow(id));
        })
        .immediate(),
    listPhotos,
    readPhoto(id) {
      const photo = photoOf(photoRow(id));
      return { photo, octets: octetsOf.get(id)! };
    },
    changePhoto(id, { kind, caption }) {
      photoRow(id);
      changePhoto.run(kind, caption, id);
      return photoOf(photoRow(id));
    },
    deletePhoto(id) {
      photoRow(id);
      dropPhoto.run(new Date().toISOString(), id);
    },
    restorePhoto(id) {
      bringPhoto.run(id);
      return photoOf(photoRow(id));
    },
    addNote(caseId, { text }) {
      requireCase(caseId);
      const id = newId();
      addNote.run(id, caseId, new Date().toISOString(), text);
      return note(id);
    },
    listNotes(caseId) {
      requireCase(caseId);
      return notes.all(caseId).map(noteOf);
    },
    changeNote(id, { text }) {
      note(id);
      changeNote.run(text, id);
      return note(id);
    },
    deleteNote(id) {
      note(id);
      dropNote.run(new Date().toISOString(), id);
    },
    restoreNote(id) {
      bringNote.run(id);
      return note(id);
    },
    readChecklist(recordingId) {
      if (recordingExists.get(recordingId) === undefined) throw noRecording();
      const text = checklist.get(recordingId);
      return text === undefined ? null : checklistSchema.parse(JSON.parse(text));
    },
    writeChecklist(recordingId, kept) {
      if (recordingExists.get(recordingId) === undefined) throw noRecording();
      keepChecklist.run(recordingId, JSON.stringify(kept));
    },
  };
}

/** @throws NightdrawError unreadable-file, too-large, conflict */
export function acceptedPicture(octets: Uint8Array, already: number): ReturnType<typeof readPicture> {
  if (already >= PHOTOS_MOST)
    throw new NightdrawError('conflict', `A case holds at most ${PHOTOS_MOST} photos; delete some first.`);
  if (octets.length > PHOTO_MOST_BYTES)
    throw new NightdrawError('too-large', 'The photo is larger than 3 MB; make it smaller first.');
  const picture = readPicture(octets);
  if (Math.max(picture.widthPx, picture.heightPx) > PHOTO_MOST_PIXELS)
    throw new NightdrawError(
      'too-large',
      `The photo is larger than ${PHOTO_MOST_PIXELS} pixels; make it smaller first.`,
    );
  return picture;
}
