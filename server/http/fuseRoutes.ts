import { Router } from 'express';
import { z } from 'zod';
import { FuseDesk } from '../capture/fuseDesk.ts';
import { addFuseSchema, wholeDrawSchema } from '../messages/fuses.ts';
import { idSchema } from '../messages/records.ts';
import type { Services } from './services.ts';

const whenSchema = z.strictObject({ nowMs: z.number().optional() });

/** The fuse walk of a case; every answer is the whole walk. */
export function fuseRoutes({ store, hub }: Pick<Services, 'store' | 'hub'>): Router {
  const router = Router();
  const desk = new FuseDesk(store, (id, nowMs) => hub.runningTimeS(id, nowMs), Date.now);

  router.get('/:id/fuses', (request, response) => {
    response.json(desk.walk(idSchema.parse(request.params.id)));
  });

  router.post('/:id/fuses', (request, response) => {
    const id = idSchema.parse(request.params.id);
    response.status(201).json(desk.add(id, addFuseSchema.parse(request.body)));
  });

  router.put('/:id/fuses/whole', (request, response) => {
    const id = idSchema.parse(request.params.id);
    response.json(desk.setWholeDraw(id, wholeDrawSchema.parse(request.body)));
  });

  router.post('/:id/fuses/:line/back', (request, response) => {
    const [id, line] = [idSchema.parse(request.params.id), idSchema.parse(request.params.line)];
    response.json(desk.putBack(id, line, whenSchema.parse(request.body ?? {}).nowMs));
  });

  router.delete('/:id/fuses/:line', (request, response) => {
    response.json(desk.remove(idSchema.parse(request.params.id), idSchema.parse(request.params.line)));
  });

  return router;
}
