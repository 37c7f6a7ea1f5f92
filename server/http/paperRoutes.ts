import { Router } from 'express';
import { noteInputSchema, PHOTO_MOST_BYTES, photoInputSchema } from '../messages/casePapers.ts';
import { checklistSchema } from '../messages/checklist.ts';
import { NightdrawError } from '../messages/errors.ts';
import { idSchema } from '../messages/records.ts';
import { rawBody } from './bodies.ts';
import type { Services } from './services.ts';

/** The octets of a photo as the body; its kind and caption in the query. Stands before bodies are taken for JSON. */
export function photoUploads({ store }: Pick<Services, 'store'>): Router {
  const router = Router();
  router.post('/:id/photos', ...rawBody(PHOTO_MOST_BYTES), (request, response) => {
    const id = idSchema.parse(request.params['id']);
    const body: unknown = request.body;
    if (!(body instanceof Uint8Array)) throw new NightdrawError('bad-request', 'The photo is empty.');
    response.status(201).json(store.addPhoto(id, photoInputSchema.parse({ ...request.query }), body));
  });
  return router;
}

/** Photos and notes of a case. */
export function paperRoutes({ store }: Pick<Services, 'store'>): Router {
  const router = Router();
  const idOf = (request: { readonly params: Record<string, unknown> }): string =>
    idSchema.parse(request.params['id']);

  router.get('/cases/:id/photos', (request, response) => {
    response.json(store.listPhotos(idOf(request)));
  });
  router.get('/photos/:id/picture', (request, response) => {
    const { photo, octets } = store.readPhoto(idOf(request));
    response.set(
      'Content-Disposition',
      `inline; filename="nightdraw-${photo.kind}-${photo.id}.${photo.type === 'image/png' ? 'png' : 'jpg'}"`,
    );
    response.type(photo.type).send(Buffer.from(octets));
  });
  router.put('/photos/:id', (request, response) => {
    response.json(store.changePhoto(idOf(request), photoInputSchema.parse(request.body)));
  });
  router.delete('/photos/:id', (request, response) => {
    store.deletePhoto(idOf(request));
    response.status(204).end();
  });
  router.post('/photos/:id/restore', (request, response) => {
    response.json(store.restorePhoto(idOf(request)));
  });

  router.post('/cases/:id/notes', (request, response) => {
    response.status(201).json(store.addNote(idOf(request), noteInputSchema.parse(request.body)));
  });
  router.put('/notes/:id', (request, response) => {
    response.json(store.changeNote(idOf(request), noteInputSchema.parse(request.body)));
  });
  router.delete('/notes/:id', (request, response) => {
    store.deleteNote(idOf(request));
    response.status(204).end();
  });
  router.post('/notes/:id/restore', (request, response) => {
    response.json(store.restoreNote(idOf(request)));
  });

  router.get('/recordings/:id/checklist', (request, response) => {
    response.json(store.readChecklist(idOf(request)));
  });
  router.put('/recordings/:id/checklist', (request, response) => {
    const checklist = checklistSchema.parse(request.body);
    store.writeChecklist(idOf(request), checklist);
    response.json(checklist);
  });

  return router;
}
