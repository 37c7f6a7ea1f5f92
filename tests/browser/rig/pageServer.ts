import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { build } from 'vite';

export interface PageServer {
  readonly url: string;
  close(): Promise<void>;
}

/** Bundles one script of ours and serves it in an otherwise empty page. */
export async function servePage(entry: string): Promise<PageServer> {
  const built = await build({
    configFile: false,
    logLevel: 'error',
    build: { write: false, minify: false, lib: { entry, formats: ['es'], fileName: 'page' } },
  });
  const output = (Array.isArray(built) ? built[0]! : built) as { output: { type: string; code?: string }[] };
  const script = output.output.find((chunk) => chunk.type === 'chunk')?.code ?? '';
  const server = createServer((request, response) => {
    const isScript = request.url === '/page.js';
    response.setHeader('content-type', isScript ? 'text/javascript' : 'text/html; charset=utf-8');
    response.end(
      isScript
        ? script
        : '<!doctype html><title>Bench</title><body><script type="module" src="/page.js"></script>',
    );
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return {
    url: `http://127.0.0.1:${(server.address() as AddressInfo).port}/`,
    async close() {
      server.closeAllConnections();
      await new Promise<void>((resolve) => server.close(() => resolve()));
    },
  };
}
