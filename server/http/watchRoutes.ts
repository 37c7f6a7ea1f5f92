import { Router } from 'express';
import { idSchema } from '../messages/records.ts';
import { armSchema } from '../messages/watch.ts';
import type { Services } from './services.ts';

/** What an overnight test is watched for, and what the watch says. */
export function watchRoutes({ watch, store }: Pick<Services, 'watch' | 'store'>): Router {
  const router = Router();

  router.get('/:id/watch', (request, response) => {
    response.json(watch.report(idSchema.parse(request.params.id)));
  });

  /** Arms it, or with `{"settings": null}` disarms it. */
  router.put('/:id/watch', (request, response) => {
    const id = idSchema.parse(request.params.id);
    store.getRecording(id);
    response.json(watch.arm(id, armSchema.parse(request.body).settings));
  });

  /** Sends a message to the webhook that is set, and says how it went. */
  router.post('/:id/watch/test', async (request, response) => {
    const { ok, sentence } = await watch.tryWebhook(idSchema.parse(request.params.id));
    response.json({ ok, sentence });
  });

  return router;
}
