import { existsSync } from 'node:fs';
import path from 'node:path';
import express, { Router } from 'express';

/** No dots, no escapes: anything else is a file, and was not found. */
const PAGE_ADDRESS = /^\/[\w/-]*$/;

/** Serves the built page: files by name, and the one document for every address that the page itself makes up. */
export function pageRoutes(folder: string): Router {
  const router = Router();
  router.use(
    express.static(folder, {
      index: false,
      redirect: false,
      dotfiles: 'ignore',
      setHeaders: (response, file) => {
        // The build puts a hash of its contents into the name of each asset.
        const hashed = path.dirname(file) === path.join(folder, 'assets');
        response.setHeader('Cache-Control', hashed ? 'public, max-age=31536000, immutable' : 'no-cache');
      },
    }),
  );
  router.use((request, response, next) => {
    if (request.method !== 'GET' && request.method !== 'HEAD') return next();
    if (!PAGE_ADDRESS.test(request.path)) return next();
    const document = path.join(folder, 'index.html');
    if (!existsSync(document)) {
      response
        .status(503)
        .type('text/plain')
        .send('The page has not been built yet: run "npm run build" and start again.\n');
      return;
    }
    // Named below its root, because the folder itself may lie under one whose name begins with a dot.
    response.set('Cache-Control', 'no-cache').sendFile('index.html', { root: folder });
  });
  return router;
}
