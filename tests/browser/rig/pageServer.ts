import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { build } from 'vite';

export interface PageServer {
  readonly url: string;
  close(): Promise<void>;
}

/** Bundles one script of ours. */
export async function bundle(entry: string): Promise<string> {
  const built = await build({
    configFile: false,
    logLevel: 'error',
    build: { write: false, minify: false, lib: { entry, formats: ['es'], fileName: 'page' } },
  });
  const { output } = (Array.isArray(built) ? built[0]! : built) as {
    output: { type: string; code?: string }[];
  };
  return output.find((chunk) => chunk.type === 'chunk')?.code ?? '';
}

/** An otherwise empty document that runs the script at `scriptUrl`. */
export function documentFor(scriptUrl: string): string {
  return `<!doctype html><title>Bench</title><body><script type="module" src="${scriptUrl}"></script>`;
}

/** Bundles one script of ours and serves it in an otherwise empty page. */
export async function servePage(entry: string): Promise<PageServer> {
  const script = await bundle(entry);
  const server = createServer((request, response) => {
    const isScript = request.url === '/page.js';
    response.setHeader('content-type', isScript ? 'text/javascript' : 'text/html; charset=utf-8');
    response.end(isScript ? script : documentFor('/page.js'));
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
