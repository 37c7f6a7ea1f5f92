import { Router } from 'express';
import { AttemptDesk } from '../capture/attempts.ts';
import { caseAttemptsSchema } from '../messages/attempts.ts';
import { takeThresholdSchema } from '../messages/http.ts';
import { idSchema } from '../messages/records.ts';
import type { Services } from './services.ts';

/** Tries at the handle, of a case or of a recording, and the threshold that they carry. */
export function attemptRoutes({ store }: Pick<Services, 'store'>): Router {
  const router = Router();
  const desk = new AttemptDesk(store);

  router.get('/cases/:id/attempts', (request, response) => {
    response.json(caseAttemptsSchema.parse(desk.ofCase(idSchema.parse(request.params.id))));
  });

  router.get('/recordings/:id/attempts', (request, response) => {
    response.json(caseAttemptsSchema.parse(desk.ofRecording(idSchema.parse(request.params.id))));
  });

  /** Answers with the case as it then is. */
  router.put('/cases/:id/threshold', (request, response) => {
    const id = idSchema.parse(request.params.id);
    const { take } = takeThresholdSchema.parse(request.body);
    response.json(take ? desk.take(id, Date.now()) : store.setMeasuredThreshold(id, null));
  });

  return router;
}
