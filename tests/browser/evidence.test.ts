import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { fingerprintText } from '../../server/evidence/signing.ts';
import type { Recording } from '../../server/messages/records.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens } from './rig/screens.ts';

/** A demo night is sealed from its page, and the bundle is checked in the page with the network cut. */

const server = new Nightdraw();
const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-evidence-'));
const bundle = path.join(folder, 'bundle.zip');
let browser: BenchBrowser;
let page: Page;
let key: string;

beforeAll(async () => {
  await server.start();
  browser = await launchChromium('unix:path=/nonexistent');
  ({ page } = await browser.openPage(server.url));
  key = (await server.get<{ fingerprint: string }>('key')).fingerprint;
});
afterAll(async () => {
  await browser?.close();
  await server.close();
  rmSync(folder, { recursive: true });
});

const answer = () => page.getByRole('status', { name: 'Answer' });

test('a night is sealed from its page, which then names the bundle and the key', async () => {
  await eventually(async () => (await server.get<Recording[]>('recordings')).length).toBe(4);
  const [night] = await server.get<Recording[]>('recordings');
  await page.goto(`${server.url}#/recordings/${night!.id}`);
  await page.getByText('Report and evidence').click();
  await page.getByText(fingerprintText(key)).waitFor();
  await page.getByRole('radio', { name: 'Customer, one page' }).check();
  expect(await page.getByRole('link', { name: 'Report as PDF' }).getAttribute('href')).toBe(
    `/api/recordings/${night!.id}/report.pdf?for=customer&paper=a4`,
  );
  const downloading = page.waitForEvent('download');
  await page.getByRole('link', { name: 'Make the sealed bundle' }).click();
  await (await downloading).saveAs(bundle);
  await page.reload();
  await page.getByText('Report and evidence').click();
  await page.getByText(/SHA-256 [0-9a-f]{64}/).waitFor();
  await keepScreens(page, '8-evidence');
});

test('a bundle is verified with the network cut', async () => {
  await page.goto(`${server.url}#/verify`);
  await page.getByText('Choose the sealed bundle').waitFor();
  await page.getByLabel(/Fingerprint that the signer told you/).fill(fingerprintText(key));
  // What the check needs may come once; after that the page works alone.
  await page.getByLabel('Choose the sealed bundle').setInputFiles(bundle);
  await eventually(() => answer().innerText()).toMatch(/Intact: /);
  await page.getByText('That is the key of the computer that serves this page').waitFor();
  await keepScreens(page, '9-verify');
  await browser.context.setOffline(true);
  await page.getByLabel('Choose the sealed bundle').setInputFiles(bundle);
  await eventually(() => answer().innerText()).toMatch(/Intact: /);
});

test.each([
  ['one bit of it', 0],
  ['a cut end', 1],
])('still offline, %s shows', async (_what, kind) => {
  const octets = readFileSync(bundle);
  octets[octets.length >> 1]! ^= 1;
  const bad = path.join(folder, 'bad.zip');
  writeFileSync(bad, kind === 0 ? octets : octets.subarray(0, octets.length - 100));
  await page.getByLabel('Choose the sealed bundle').setInputFiles(bad);
  await eventually(() => answer().innerText()).toMatch(/This is not an intact sealed bundle/);
});

test('another signer shows', async () => {
  await page.getByLabel(/Fingerprint that the signer told you/).fill('ab'.repeat(32));
  await page.getByLabel('Choose the sealed bundle').setInputFiles(bundle);
  await eventually(() => answer().innerText()).toMatch(/not by the one that was asked for/);
  await browser.context.setOffline(false);
});
