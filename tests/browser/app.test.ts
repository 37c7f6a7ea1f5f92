import { readFileSync } from 'node:fs';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';

/** The page as an installed app: it opens while the server is away and says so, and is never out of date. */

const server = new Nightdraw();
let browser: BenchBrowser;
let page: Page;

beforeAll(async () => {
  await server.start();
  browser = await launchChromium('unix:path=/nonexistent');
  ({ page } = await browser.openPage(server.url));
});
afterAll(async () => {
  await browser?.close();
  await server.close();
});

const keptUrls = () =>
  page.evaluate(async () => {
    const cache = await caches.open('nightdraw-page');
    return (await cache.keys()).map((request) => new URL(request.url).pathname);
  });

test('the manifest names the app and its icons, which are what they say', async () => {
  const href = await page.locator('link[rel="manifest"]').getAttribute('href');
  const address = new URL(href!, server.url);
  const reply = await fetch(address);
  expect(reply.headers.get('content-type')).toMatch(/^application\/manifest\+json/);
  const manifest = (await reply.json()) as {
    name: string;
    display: string;
    start_url: string;
    icons: { src: string; sizes: string; type: string; purpose?: string }[];
  };
  expect(manifest).toMatchObject({ name: 'Nightdraw', display: 'standalone', start_url: './' });
  expect(manifest.icons.map((i) => i.purpose ?? 'any')).toContain('maskable');
  for (const { src, sizes, type } of manifest.icons) {
    const icon = await fetch(new URL(src, address));
    expect([icon.status, icon.headers.get('content-type')]).toEqual([200, type]);
    if (type !== 'image/png') continue;
    // Width and height stand in the header chunk (W3C PNG, third edition, 11.2.1).
    const octets = new DataView(await icon.arrayBuffer());
    expect(`${octets.getUint32(16)}x${octets.getUint32(20)}`).toBe(sizes);
  }
});

test('every file of the build is kept, and nothing of the API', async () => {
  await eventually(() => page.evaluate(() => navigator.serviceWorker.controller !== null)).toBe(true);
  const list = JSON.parse(
    readFileSync(new URL('../../.build/web/assets.json', import.meta.url), 'utf8'),
  ) as Record<string, { file: string }>;
  const files = Object.values(list).map(({ file }) => `/${file}`);
  const kept = await keptUrls();
  for (const file of files.filter((name) => name.startsWith('/assets/'))) expect(kept).toContain(file);
  expect(kept).toContain('/');
  await page.goto(`${server.url}#/recordings`);
  await page.reload();
  await page.getByRole('heading', { name: 'Recordings' }).first().waitFor();
  expect((await keptUrls()).filter((url) => /api|socket/.test(url))).toEqual([]);
});

test('without the server the page opens, says so, and shows no old answers', async () => {
  await server.kill();
  await page.reload();
  await page
    .getByText(/server does not answer/i)
    .first()
    .waitFor();
  expect(await page.getByRole('link', { name: /Demo night/ }).count()).toBe(0);
  const asked = await page.evaluate(() =>
    fetch('/api/status').then(
      (reply) => reply.status,
      () => 'refused',
    ),
  );
  expect(asked).toBe('refused');
});

test('it works again when the server is back', async () => {
  await server.start();
  await page.reload();
  await page
    .getByRole('link', { name: /Demo night/ })
    .first()
    .waitFor();
});

test('files of a former build are let go', async () => {
  await page.evaluate(async () => {
    const cache = await caches.open('nightdraw-page');
    await cache.put('/assets/of-a-former-build.js', new Response('old'));
  });
  await page.reload();
  await eventually(keptUrls).not.toContain('/assets/of-a-former-build.js');
});
