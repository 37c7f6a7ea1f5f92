import { Router } from 'express';
import { AttemptDesk } from '../capture/attempts.ts';
import { archiveSchema, type CaseTimeline } from '../messages/casePapers.ts';
import { NightdrawError } from '../messages/errors.ts';
import { caseInputSchema, idSchema } from '../messages/records.ts';
import type { Services } from './services.ts';

export function caseRoutes({ store, hub }: Services): Router {
  const router = Router();
  const tries = new AttemptDesk(store);

  router.get('/', (_request, response) => {
    response.json(store.listCases());
  });

  router.post('/', (request, response) => {
    response.status(201).json(store.createCase(caseInputSchema.parse(request.body)));
  });

  router.get('/deleted', (_request, response) => {
    response.json(store.listDeletedCases());
  });

  router.get('/:id', (request, response) => {
    response.json(store.getCase(idSchema.parse(request.params.id)));
  });

  router.put('/:id', (request, response) => {
    const id = idSchema.parse(request.params.id);
    response.json(store.updateCase(id, caseInputSchema.parse(request.body)));
  });

  router.delete('/:id', (request, response) => {
    const id = idSchema.parse(request.params.id);
    if (store.listRecordings(id).some((r) => hub.isRunning(r.id)))
      throw new NightdrawError('conflict', 'A recording of this case is running; stop it first.');
    store.deleteCase(id);
    response.status(204).end();
  });

  router.post('/:id/restore', (request, response) => {
    response.json(store.restoreCase(idSchema.parse(request.params.id)));
  });

  router.put('/:id/archived', (request, response) => {
    const id = idSchema.parse(request.params.id);
    response.json(store.archiveCase(id, archiveSchema.parse(request.body).archived));
  });

  /** All of a case on one time, but for the findings of its recordings. */
  router.get('/:id/timeline', (request, response) => {
    const id = idSchema.parse(request.params.id);
    const attempts = tries.ofCase(id);
    const timeline: CaseTimeline = {
      recordings: store.listRecordings(id).map((recording) => ({
        recording,
        events: store.listEvents(recording.id),
        zeroChecks: store.listZeroChecks(recording.id),
        checklist: store.readChecklist(recording.id),
      })),
      attempts,
      photos: store.listPhotos(id),
      notes: store.listNotes(id),
    };
    response.json(timeline);
  });

  return router;
}
