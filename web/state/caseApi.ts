import {
  caseTimelineSchema,
  noteSchema,
  photoSchema,
  type CaseTimeline,
  type Note,
  type Photo,
  type PhotoInput,
} from '../../server/messages/casePapers.ts';
import { caseListSchema } from '../../server/messages/http.ts';
import { caseSchema, type Case } from '../../server/messages/records.ts';
import { queryText, type Api, type Schema } from './api.ts';

/** The routes of a case's papers. */
export interface CaseApi {
  timeline(caseId: string): Promise<CaseTimeline>;
  archive(caseId: string, archived: boolean): Promise<Case>;
  deleted(): Promise<Case[]>;
  restore(caseId: string): Promise<Case>;
  addPhoto(caseId: string, input: PhotoInput, octets: Uint8Array<ArrayBuffer>): Promise<Photo>;
  changePhoto(id: string, input: PhotoInput): Promise<Photo>;
  deletePhoto(id: string): Promise<unknown>;
  restorePhoto(id: string): Promise<Photo>;
  addNote(caseId: string, text: string): Promise<Note>;
  changeNote(id: string, text: string): Promise<Note>;
  deleteNote(id: string): Promise<unknown>;
  restoreNote(id: string): Promise<Note>;
}

const NOTHING: Schema<undefined> = { safeParse: () => ({ success: true, data: undefined }) };

export function caseApi({ ask }: Pick<Api, 'ask'>): CaseApi {
  return {
    timeline: (id) => ask('GET', `cases/${id}/timeline`, caseTimelineSchema),
    archive: (id, archived) => ask('PUT', `cases/${id}/archived`, caseSchema, { archived }),
    deleted: () => ask('GET', 'cases/deleted', caseListSchema),
    restore: (id) => ask('POST', `cases/${id}/restore`, caseSchema, {}),
    addPhoto: (id, { kind, caption }, octets) =>
      ask('POST', `cases/${id}/photos${queryText({ kind, caption })}`, photoSchema, octets),
    changePhoto: (id, input) => ask('PUT', `photos/${id}`, photoSchema, input),
    deletePhoto: (id) => ask('DELETE', `photos/${id}`, NOTHING),
    restorePhoto: (id) => ask('POST', `photos/${id}/restore`, photoSchema, {}),
    addNote: (id, text) => ask('POST', `cases/${id}/notes`, noteSchema, { text }),
    changeNote: (id, text) => ask('PUT', `notes/${id}`, noteSchema, { text }),
    deleteNote: (id) => ask('DELETE', `notes/${id}`, NOTHING),
    restoreNote: (id) => ask('POST', `notes/${id}/restore`, noteSchema, {}),
  };
}

/** Where a photo is shown from. */
export function photoPath(id: string): string {
  return `/api/photos/${id}/picture`;
}
