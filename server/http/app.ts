import express, { type Express } from 'express';
import { NightdrawError } from '../messages/errors.ts';
import { attemptRoutes } from './attemptRoutes.ts';
import { jsonBody } from './bodies.ts';
import { caseRoutes } from './caseRoutes.ts';
import { evidenceRoutes, keyRoutes } from './evidenceRoutes.ts';
import { errorHandler } from './failures.ts';
import { csvRoutes, importRoutes } from './fileRoutes.ts';
import { fuseRoutes } from './fuseRoutes.ts';
import { refusalOf } from './guard.ts';
import { securityHeaders } from './headers.ts';
import { meterRoutes, statusRoutes, taughtRoutes, virtualCarRoutes } from './meterRoutes.ts';
import { pageRoutes } from './page.ts';
import { paperRoutes, photoUploads } from './paperRoutes.ts';
import { recordingRoutes } from './recordingRoutes.ts';
import type { Services } from './services.ts';
import { watchRoutes } from './watchRoutes.ts';

/** A case with its notes is a few kilobytes. */
const JSON_LIMIT = 64 * 1024;

/** The HTTP side of the server: the page and its API. Every answer carries the security headers. */
export function createApp(services: Services): Express {
  const app = express();
  app.disable('x-powered-by');
  app.set('query parser', 'simple');
  app.use(securityHeaders);
  app.use((request, _response, next) => {
    const refusal = refusalOf(request);
    next(refusal === null ? undefined : new NightdrawError('origin-refused', refusal));
  });

  const api = express.Router();
  api.use((_request, response, next) => {
    response.set('Cache-Control', 'no-store');
    next();
  });
  api.use('/import', importRoutes(services));
  api.use('/cases', photoUploads(services));
  api.use(jsonBody(JSON_LIMIT));
  api.use('/status', statusRoutes(services));
  api.use('/cases', caseRoutes(services));
  api.use(attemptRoutes(services), paperRoutes(services));
  api.use('/recordings', recordingRoutes(services), csvRoutes(services), evidenceRoutes(services));
  api.use('/recordings', watchRoutes(services));
  api.use('/cases', fuseRoutes(services));
  api.use('/key', keyRoutes(services));
  api.use('/meters', meterRoutes(services));
  api.use('/taught-meters', taughtRoutes(services));
  api.use('/virtual-car', virtualCarRoutes(services));
  api.use(() => {
    throw new NightdrawError('not-found');
  });

  app.use('/api', api);
  app.use(pageRoutes(services.pageFolder));
  app.use(() => {
    throw new NightdrawError('not-found');
  });
  app.use(errorHandler(services.log));
  return app;
}
