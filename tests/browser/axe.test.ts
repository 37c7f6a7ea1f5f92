import { setTimeout as wait } from 'node:timers/promises';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { Case, Recording } from '../../server/messages/records.ts';
import { axeObjections } from './rig/axe.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { Nightdraw } from './rig/nightdraw.ts';

/** WCAG 2.2 A and AA by axe, by day and by night, on a phone and on a laptop. */

const SIZES = [
  { width: 390, height: 844 },
  { width: 1366, height: 768 },
];

const server = new Nightdraw();
let browser: BenchBrowser;
let page: Page;
let caseId: string;
let nights: Recording[];

beforeAll(async () => {
  await server.start();
  browser = await launchChromium('disabled:');
  ({ page } = await browser.openPage(server.url));
  caseId = (await server.post<Case>('cases', { title: 'Hybrid', complaint: 'Handle dead' })).id;
  await server.post(`cases/${caseId}/notes`, { text: 'Rain all day' });
  // The demo nights are read in after the start.
  do {
    await wait(100);
    nights = await server.get<Recording[]>('recordings');
  } while (nights.length < 4);
});
afterAll(async () => {
  await browser?.close();
  await server.close();
});

test.each([
  '',
  'cases',
  'cases/new',
  'cases/ID',
  'cases/ID/fuses',
  'preflight',
  'recordings',
  'recordings/NIGHT',
  'recordings/OTHER',
  'compare/NIGHT/OTHER',
  'live',
  'meters',
  'help',
  'verify',
  'teach',
])('the page #/%s has nothing that axe objects to', async (place) => {
  const ids: Record<string, string> = { ID: caseId, NIGHT: nights[0]!.id, OTHER: nights[3]!.id };
  await page.goto(`${server.url}#/${place.replaceAll(/[A-Z]+/g, (name) => ids[name]!)}`);
  await page.getByRole('heading', { level: 1 }).waitFor();
  if (place.includes('/NIGHT') || place.includes('/OTHER'))
    await page.locator('canvas, table').first().waitFor();
  for (const colorScheme of ['light', 'dark'] as const)
    for (const size of SIZES) {
      await page.emulateMedia({ colorScheme });
      await page.setViewportSize(size);
      await page.waitForTimeout(300);
      expect(await axeObjections(page), `${colorScheme} ${size.width}`).toEqual([]);
    }
});
