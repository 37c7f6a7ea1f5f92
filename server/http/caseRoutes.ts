import { Router } from 'express';
import { NightdrawError } from '../messages/errors.ts';
import { caseInputSchema, idSchema } from '../messages/records.ts';
import type { Services } from './services.ts';

export function caseRoutes({ store, hub }: Services): Router {
  const router = Router();

  router.get('/', (_request, response) => {
    response.json(store.listCases());
  });

  router.post('/', (request, response) => {
    response.status(201).json(store.createCase(caseInputSchema.parse(request.body)));
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

  return router;
}
