import { mkdirSync, writeFileSync } from 'node:fs';
import { createServer, request as httpRequest, type IncomingHttpHeaders } from 'node:http';
import { connect } from 'node:net';
import path from 'node:path';
import { processClock } from '../../drivers/links/node/clock.ts';
import { Watch } from '../../server/capture/watch.ts';
import type { Post } from '../../server/capture/webhook.ts';
import { createApp } from '../../server/http/app.ts';
import { FindingsDesk } from '../../server/http/findings.ts';
import { listen } from '../../server/http/listen.ts';
import { attachLive, type Live } from '../../server/live/socket.ts';
import { createBench, type Bench, type BenchOptions } from './hubBench.ts';

export interface Answer {
  readonly status: number;
  readonly headers: IncomingHttpHeaders;
  readonly text: string;
  /** The body as JSON; throws where it is none. */
  json<T = unknown>(): T;
}

export interface Asking {
  readonly method?: string;
  readonly headers?: Readonly<Record<string, string>>;
  /** An object goes as JSON. */
  readonly body?: string | Uint8Array | object;
}

export interface WebBench extends Bench {
  readonly port: number;
  readonly url: string;
  readonly live: Live;
  /** What the server wrote into its log. */
  readonly log: string[];
  /** What the disk is said to have left. */
  readonly room: { freeMb: number | null };
  /** Sends the path as it stands: no browser or library tidies it up. */
  ask(path: string, asking?: Asking): Promise<Answer>;
  /** Sends octets as they stand, and gives what comes back until the connection ends. */
  raw(text: string): Promise<string>;
}

/** The HTTP server and its socket on a port of their own, over a bench of fake meters and a small page. */
export async function createWebBench(
  options: Partial<BenchOptions> & { readonly post?: Post } = {},
): Promise<WebBench> {
  const bench = createBench({ clock: processClock, ...options });
  // The build puts the page under a folder whose name begins with a dot.
  const pageFolder = path.join(bench.folder, '.build', 'web');
  mkdirSync(path.join(pageFolder, 'assets'), { recursive: true });
  writeFileSync(path.join(pageFolder, 'index.html'), '<!doctype html><title>Page</title>');
  writeFileSync(path.join(pageFolder, 'assets', 'main-1a2b.js'), 'export {};');
  writeFileSync(path.join(pageFolder, '.secret'), 'secret');
  writeFileSync(path.join(bench.folder, 'outside.txt'), 'outside');
  const log: string[] = [];
  const room: { freeMb: number | null } = { freeMb: null };
  const clock = options.clock ?? processClock;
  const desk = new FindingsDesk(bench.store);
  const watch = new Watch({
    store: bench.store,
    clock,
    running: () => bench.hub.runningRecordings(),
    findingsOf: (id) => desk.findingsOf(id, {}),
    diskFreeMb: () => room.freeMb,
    onWarning: (id, warning) => bench.hub.warn(id, warning.text),
    log: (line) => log.push(line),
    post: options.post ?? (() => Promise.resolve({ ok: false, again: false, sentence: 'No network here.' })),
  });
  const services = {
    ...bench,
    desk,
    watch,
    version: '0.0.0',
    dataFolder: bench.folder,
    pageFolder,
    log: (line: string) => log.push(line),
  };
  const server = createServer(createApp(services));
  const live = attachLive({
    server,
    hub: bench.hub,
    clock,
    log: services.log,
  });
  const port = await listen(server, 0, false);

  return {
    ...bench,
    port,
    url: `http://127.0.0.1:${port}`,
    live,
    log,
    room,
    ask: (path, asking = {}) => ask(port, path, asking),
    raw: (text) => raw(port, text),
    async close() {
      watch.close();
      const closed = live.close();
      server.closeAllConnections();
      await closed;
      await bench.close();
    },
  };
}

function ask(port: number, path: string, { method, headers = {}, body }: Asking): Promise<Answer> {
  const isJson = typeof body === 'object' && !(body instanceof Uint8Array);
  const bytes = isJson ? JSON.stringify(body) : body;
  return new Promise((resolve, reject) => {
    const request = httpRequest(
      {
        host: '127.0.0.1',
        port,
        path,
        method: method ?? (body === undefined ? 'GET' : 'POST'),
        headers: { ...(isJson && { 'content-type': 'application/json' }), ...headers },
      },
      (response) => {
        const chunks: Buffer[] = [];
        response.on('data', (chunk: Buffer) => chunks.push(chunk));
        response.on('error', reject);
        response.on('end', () => {
          const text = Buffer.concat(chunks).toString('utf8');
          resolve({
            status: response.statusCode!,
            headers: response.headers,
            text,
            json: <T>() => JSON.parse(text) as T,
          });
        });
      },
    );
    request.on('error', reject);
    request.end(bytes);
  });
}

function raw(port: number, text: string): Promise<string> {
  return new Promise((resolve, reject) => {
    const socket = connect(port, '127.0.0.1', () => socket.write(text));
    let answer = '';
    socket.setEncoding('utf8');
    socket.on('data', (chunk: string) => (answer += chunk));
    socket.on('error', reject);
    socket.on('close', () => resolve(answer));
  });
}
