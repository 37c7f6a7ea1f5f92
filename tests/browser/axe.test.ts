import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { Case } from '../../server/messages/records.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { Nightdraw } from './rig/nightdraw.ts';

/** WCAG 2.2 A and AA by axe, by day and by night, on a phone and on a laptop. */

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const RULES = `axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] })
  .then((r) => r.violations.map((v) => v.id + ': ' + v.nodes.map((n) => n.target.join(' ')).join(', ')))`;
const SIZES = [
  { width: 390, height: 844 },
  { width: 1366, height: 768 },
];

const server = new Nightdraw();
let browser: BenchBrowser;
let page: Page;
let caseId: string;

beforeAll(async () => {
  await server.start();
  browser = await launchChromium('disabled:');
  ({ page } = await browser.openPage(server.url));
  caseId = (await server.post<Case>('cases', { title: 'Hybrid', complaint: 'Handle dead' })).id;
  await server.post(`cases/${caseId}/notes`, { text: 'Rain all day' });
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
  'preflight',
  'recordings',
  'live',
  'meters',
  'help',
  'verify',
])('the page #/%s has nothing that axe objects to', async (place) => {
  await page.goto(`${server.url}#/${place.replace('ID', caseId)}`);
  await page.getByRole('heading', { level: 1 }).waitFor();
  for (const colorScheme of ['light', 'dark'] as const)
    for (const size of SIZES) {
      await page.emulateMedia({ colorScheme });
      await page.setViewportSize(size);
      await page.waitForTimeout(300);
      // Through the debugger: the content security policy keeps every other script out.
      await page.evaluate(AXE);
      expect(await page.evaluate<string[]>(RULES), `${colorScheme} ${size.width}`).toEqual([]);
    }
});
