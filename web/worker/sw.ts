/**
 * Keeps the page itself, so that it opens while the server is away and can say so. The server comes first whenever it
 * answers; what it says of recordings and meters (/api, /socket.io) is never kept and never answered from here.
 */

const worker = self as unknown as ServiceWorkerGlobalScope;
const CACHE = 'nightdraw-page';
/** Written by the build: every file of the page. */
const LIST = 'assets.json';
const BESIDES = ['mark.svg', 'manifest.webmanifest', 'icons/icon-192.png'];
/** A network that is lost without a word must not hold the page up for longer. */
const WAIT_MS = 4000;

worker.addEventListener('install', (event) => {
  event.waitUntil(renew().then(() => worker.skipWaiting()));
});

worker.addEventListener('activate', (event) => event.waitUntil(worker.clients.claim()));

worker.addEventListener('fetch', (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== 'GET' || origin !== worker.location.origin) return;
  if (/^\/(?:api|socket\.io)(?:\/|$)/.test(pathname)) return;
  if (request.mode === 'navigate') event.respondWith(page(event));
  else if (isOwnFile(pathname)) event.respondWith(ownFile(request));
});

function isOwnFile(pathname: string): boolean {
  const { pathname: base } = new URL(worker.registration.scope);
  const name = pathname.slice(base.length);
  return pathname.startsWith(base) && (name.startsWith('assets/') || BESIDES.includes(name));
}

/** Always the server's newest, and then the files that belong to it; the kept one where no server answers. */
async function page(event: FetchEvent): Promise<Response> {
  try {
    const reply = await fetch(event.request, { signal: AbortSignal.timeout(WAIT_MS) });
    if (reply.ok) event.waitUntil(renew().catch(() => undefined));
    return reply;
  } catch {
    return (await caches.match(worker.registration.scope)) ?? Response.error();
  }
}

/** The names of files under assets/ change with their contents, so a kept one is never out of date. */
async function ownFile(request: Request): Promise<Response> {
  return (await caches.match(request)) ?? fetch(request);
}

/** Keeps every file of the page as it is on the server now, and lets go of those of former builds. */
async function renew(): Promise<void> {
  const reply = await fetch(new URL(LIST, worker.registration.scope), { cache: 'no-cache' });
  if (!reply.ok) throw new Error('the list of files is missing');
  const list = (await reply.json()) as Record<string, { file: string; css?: string[]; assets?: string[] }>;
  const built = Object.values(list).flatMap(({ file, css = [], assets = [] }) => [file, ...css, ...assets]);
  const names = [...new Set([...built.filter((name) => name.startsWith('assets/')), ...BESIDES])];
  const wanted = new Set(['', ...names].map((name) => new URL(name, worker.registration.scope).href));
  const cache = await caches.open(CACHE);
  const kept = new Set((await cache.keys()).map((request) => request.url));
  const isNew = (url: string) => !kept.has(url) || !url.includes('/assets/');
  await cache.addAll([...wanted].filter(isNew).map((url) => new Request(url, { cache: 'no-cache' })));
  await Promise.all([...kept].filter((url) => !wanted.has(url)).map((url) => cache.delete(url)));
}

export {};
