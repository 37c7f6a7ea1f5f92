import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { Router } from 'express';
import { exportCsv } from '../capture/csvExport.ts';
import { fileSource, firstBytes } from '../capture/byteSource.ts';
import { importCsvFile, readBytes } from '../capture/import.ts';
import { NightdrawError } from '../messages/errors.ts';
import { importQuerySchema } from '../messages/http.ts';
import { idSchema } from '../messages/records.ts';
import { importBundle, isZip } from '../sealing/importBundle.ts';
import { signerIn } from '../sealing/keyFile.ts';
import { bodyAsFile } from './bodies.ts';
import type { Services } from './services.ts';

/** A month of ten readings a second is about 700 MB as text and a quarter of that as gz. */
const IMPORT_LIMIT = 2 ** 31;
/** A sealed bundle is checked as a whole, in memory; that of a month has about 50 MB. */
const BUNDLE_LIMIT = 2 ** 28;

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
export function importRoutes({ store, dataFolder }: Services): Router {
  const router = Router();
  router.post('/', async (request, response) => {
    const { name, case: caseId } = importQuerySchema.parse(request.query);
    const options = { name, caseId: caseId ?? null };
    const recording = await bodyAsFile(request, dataFolder, IMPORT_LIMIT, (file, length) => {
      if (!isZip(firstBytes(fileSource(file), 3))) return importCsvFile(store, file, options);
      if (length > BUNDLE_LIMIT) throw new NightdrawError('too-large');
      return importBundle(store, readBytes(file), {
        ...options,
        data: dataFolder,
        signer: () => signerIn(dataFolder),
        at: new Date().toISOString(),
      });
    });
    response.status(201).json(recording);
  });
  return router;
}
