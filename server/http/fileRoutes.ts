import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { Router } from 'express';
import { exportCsv } from '../capture/csvExport.ts';
import { importCsvFile } from '../capture/import.ts';
import { NightdrawError } from '../messages/errors.ts';
import { importQuerySchema } from '../messages/http.ts';
import { idSchema } from '../messages/records.ts';
import { importBundle, isZip } from '../sealing/importBundle.ts';
import { signerIn } from '../sealing/keyFile.ts';
import { rawBody } from './bodies.ts';
import type { Services } from './services.ts';

/** A month of ten readings a second is about 300 MB as text and a tenth of that as gz. */
const IMPORT_LIMIT = 256 * 1024 * 1024;

/** A recording as a CSV file to keep. */
export function csvRoutes({ store }: Services): Router {
  const router = Router();
  router.get('/:id/samples.csv', async (request, response) => {
    const { id, startedAt } = store.getRecording(idSchema.parse(request.params.id));
    const day = startedAt === null ? '' : `-${startedAt.slice(0, 10)}`;
    response.set('Content-Type', 'text/csv; charset=utf-8; header=present');
    response.set('Content-Disposition', `attachment; filename="nightdraw${day}-${id}.csv"`);
    await pipeline(Readable.from(exportCsv(store, id)), response);
  });
  return router;
}

/** The bytes of a CSV file, plain or gz, or of a sealed bundle become a recording: all of it, or nothing. */
export function importRoutes({ store, dataFolder, version }: Services): Router {
  const router = Router();
  router.use(rawBody(IMPORT_LIMIT));
  router.post('/', (request, response) => {
    const { name, case: caseId } = importQuerySchema.parse(request.query);
    const body: unknown = request.body;
    if (!(body instanceof Uint8Array)) throw new NightdrawError('bad-request', 'The file is empty.');
    const options = { name, caseId: caseId ?? null };
    const recording = isZip(body)
      ? importBundle(store, body, {
          ...options,
          data: dataFolder,
          version,
          signer: () => signerIn(dataFolder),
          at: new Date().toISOString(),
        })
      : importCsvFile(store, body, options);
    response.status(201).json(recording);
  });
  return router;
}
