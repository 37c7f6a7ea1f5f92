import { closeSync, createReadStream, mkdtempSync, openSync, rmSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { pipeline } from 'node:stream/promises';
import { Router, type Response } from 'express';
import { z } from 'zod';
import { idSchema } from '../messages/records.ts';
import { fingerprintIn, signerIn } from '../sealing/keyFile.ts';
import { REPORT_FORMATS } from '../sealing/reportFormats.ts';
import { sealStateOf } from '../sealing/sealState.ts';
import type { Services } from './services.ts';

const reportQuerySchema = z.object({
  paper: z.enum(['a4', 'letter']).default('a4'),
  for: z.enum(['workshop', 'customer']).default('workshop'),
});
const bundleQuerySchema = z.object({
  without: z.enum(['', 'identity', 'photos', 'identity,photos']).default(''),
});
const formatSchema = z.enum(REPORT_FORMATS);
const TYPE = {
  html: 'text/html; charset=utf-8',
  pdf: 'application/pdf',
  csv: 'text/csv; charset=utf-8; header=present',
} as const;

/** Reports and sealed bundles of recordings, as files to keep. */
export function evidenceRoutes({ store, dataFolder, version }: Services): Router {
  const router = Router();

  router.get('/:id/report.:format', async (request, response) => {
    const id = idSchema.parse(request.params.id);
    const format = formatSchema.parse(request.params.format);
    const { paper, for: reader } = reportQuerySchema.parse(request.query);
    store.getRecording(id);
    const signer = signerIn(dataFolder);
    const madeAt = new Date().toISOString();
    const { renderReport, reportOfNight } = await reports();
    const model = reportOfNight(store, id, { data: dataFolder, signer, version, madeAt, reader });
    attach(response, TYPE[format], `nightdraw-report-${id}.${format}`);
    response.end(await renderReport(model, format, paper));
  });

  /** Sealed on demand; without identity it names no car, no person and no note. */
  router.get('/:id/bundle.zip', async (request, response) => {
    const id = idSchema.parse(request.params.id);
    const { without } = bundleQuerySchema.parse(request.query);
    store.getRecording(id);
    const parts = without.split(',').filter((part) => part === 'identity' || part === 'photos');
    const options = {
      data: dataFolder,
      signer: signerIn(dataFolder),
      version,
      sealedAt: new Date().toISOString(),
      without: parts,
    };
    // By way of a file: a month's bundle need not fit into memory, and a refusal comes before the first octet.
    const { sealWithReport } = await reports();
    await withPassingFile(async (file) => {
      const handle = openSync(file, 'wx', 0o600);
      try {
        await sealWithReport(store, id, options, (octets) => void writeSync(handle, octets));
      } finally {
        closeSync(handle);
      }
      attach(response, 'application/zip', `nightdraw-${id}.zip`);
      await pipeline(createReadStream(file), response);
    });
  });

  /** Whether it is still what was sealed while it was recorded, and which bundles were made of it. */
  router.get('/:id/seal', (request, response) => {
    response.json(sealStateOf(store, idSchema.parse(request.params.id), dataFolder));
  });

  return router;
}

/** The fingerprint of the key that signs here, for the page to show. */
export function keyRoutes({ dataFolder }: Services): Router {
  const router = Router();
  router.get('/', (_request, response) => {
    response.json({ fingerprint: fingerprintIn(dataFolder) });
  });
  return router;
}

/** Loaded when first asked for: the library that writes PDF takes a third of the time to start. */
const reports = () => import('../sealing/reportNight.ts');

async function withPassingFile(work: (file: string) => Promise<void>): Promise<void> {
  const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-bundle-'));
  try {
    await work(path.join(folder, 'bundle.zip'));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function attach(response: Response, type: string, name: string): void {
  response.set('Content-Type', type);
  response.set('Content-Disposition', `attachment; filename="${name}"`);
}
