import { statfsSync } from 'node:fs';
import { Router } from 'express';
import { scanRequestSchema, virtualCarRequestSchema, type Status } from '../messages/http.ts';
import { meterKeySchema } from '../messages/records.ts';
import type { Services } from './services.ts';

export function meterRoutes({ hub }: Services): Router {
  const router = Router();

  router.get('/', (_request, response) => {
    response.json(hub.meters());
  });

  /** Answers when the scan has ended; what it finds is told over the socket meanwhile. */
  router.post('/scan', async (request, response) => {
    const { seconds } = scanRequestSchema.parse(request.body ?? {});
    response.json(await hub.scan(seconds));
  });

  /** Answers at once with the meter as it is; how connecting goes is told over the socket. */
  router.post('/:key/connect', (request, response) => {
    response.status(202).json(hub.connect(meterKeySchema.parse(request.params.key)));
  });

  router.post('/:key/disconnect', async (request, response) => {
    response.json(await hub.disconnect(meterKeySchema.parse(request.params.key)));
  });

  return router;
}

export function virtualCarRoutes({ hub }: Services): Router {
  const router = Router();
  router.post('/', async (request, response) => {
    await hub.virtualCar(virtualCarRequestSchema.parse(request.body).action);
    response.json({ running: hub.virtualCarRuns });
  });
  return router;
}

/** Room where the recordings are kept, for a user without special rights; null where the system does not say. */
function roomIn(folder: string): Status['disk'] {
  try {
    const { bavail, bsize } = statfsSync(folder);
    return { freeBytes: bavail * bsize };
  } catch {
    return null;
  }
}

export function statusRoutes({ hub, version, dataFolder }: Services): Router {
  const router = Router();
  router.get('/', (_request, response) => {
    const status: Status = {
      name: 'nightdraw',
      version,
      bluetooth: hub.bluetooth(),
      virtualCar: { running: hub.virtualCarRuns },
      disk: roomIn(dataFolder),
    };
    response.json(status);
  });
  return router;
}
