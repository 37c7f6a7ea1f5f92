import { statfsSync } from 'node:fs';
import { Router } from 'express';
import { NightdrawError } from '../messages/errors.ts';
import { meterRecordSchema, type KeptMeterRecord } from '../messages/meterRecord.ts';
import { bindKeyRequestSchema, vendorServicesSchema } from '../messages/meterSettings.ts';
import { meterDescriptionSchema } from '../messages/taughtMeters.ts';
import { zeroCheckRequestSchema } from '../messages/zeroCheck.ts';
import { scanRequestSchema, virtualCarRequestSchema, type Status } from '../messages/http.ts';
import { idSchema, meterKeySchema } from '../messages/records.ts';
import type { Services } from './services.ts';

export function meterRoutes({ hub, store }: Services): Router {
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

  /** Begins to hand on what an unknown meter sends; its frames come over the socket. */
  router.post('/:key/listen', async (request, response) => {
    response.status(202).json(await hub.listenTo(meterKeySchema.parse(request.params.key)));
  });

  /** Answers when the check is done. */
  router.post('/:key/zero-check', async (request, response) => {
    const key = meterKeySchema.parse(request.params.key);
    response.json(await hub.checkZero(key, zeroCheckRequestSchema.parse(request.body ?? {})));
  });

  router.get('/zero-checks', (_request, response) => {
    response.json(hub.heldZeroChecks());
  });

  router.get('/records', (_request, response) => {
    response.json(store.listMeterRecords());
  });

  router.put('/:key/record', (request, response) => {
    const meterKey = meterKeySchema.parse(request.params.key);
    store.writeMeterRecord(meterKey, meterRecordSchema.parse(request.body));
    const kept: KeptMeterRecord | undefined = store.listMeterRecords().find((r) => r.meterKey === meterKey);
    response.json(kept);
  });

  router.delete('/:key/record', (request, response) => {
    store.writeMeterRecord(meterKeySchema.parse(request.params.key), null);
    response.status(204).end();
  });

  /** Only which meters have a key; the keys themselves stay here. */
  router.get('/bind-keys', (_request, response) => {
    response.json(hub.bindKeys?.list() ?? []);
  });

  router.put('/:key/bind-key', (request, response) => {
    const { key } = bindKeyRequestSchema.parse(request.body);
    const meterKey = meterKeySchema.parse(request.params.key);
    if (!meterKey.startsWith('server:') || hub.bindKeys === null)
      throw new NightdrawError('bad-request', 'Only a meter of the server\u2019s radio can have a bind key.');
    hub.bindKeys.set(meterKey.slice('server:'.length), key);
    response.json(hub.bindKeys.list());
  });

  return router;
}

const VENDOR_SERVICES = 'vendor-services';

/** Descriptions of taught meters, and services that a browser's chooser names for the sake of unknown ones. */
export function taughtRoutes({ hub, store }: Services): Router {
  const router = Router();
  router.get('/', (_request, response) => {
    response.json(hub.taught.list());
  });
  router.post('/', (request, response) => {
    response.status(201).json(hub.taught.add(meterDescriptionSchema.parse(request.body)));
  });
  router.delete('/:id', (request, response) => {
    hub.taught.remove(idSchema.parse(request.params.id));
    response.status(204).end();
  });
  router.get('/vendor-services', (_request, response) => {
    response.json(vendorServicesSchema.parse(JSON.parse(store.readSetting(VENDOR_SERVICES) ?? '[]')));
  });
  router.put('/vendor-services', (request, response) => {
    const services = [...new Set(vendorServicesSchema.parse(request.body))];
    store.writeSetting(VENDOR_SERVICES, JSON.stringify(services));
    response.json(services);
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
