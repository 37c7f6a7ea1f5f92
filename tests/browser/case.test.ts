import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { CaseTimeline } from '../../server/messages/casePapers.ts';
import type { Case } from '../../server/messages/records.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens } from './rig/screens.ts';

/**
 * A case as the workshop keeps it: written, half lost and back, photographed, deleted and brought back, then seen to
 * before the night. Every screen is kept at phone and laptop size, by day and by night, in .build/screenshots.
 */

const server = new Nightdraw();
let browser: BenchBrowser;
let page: Page;
let id: string;

beforeAll(async () => {
  await server.start();
  browser = await launchChromium('disabled:');
  ({ page } = await browser.openPage(`${server.url}#/cases/new`));
});

afterAll(async () => {
  await browser?.close();
  await server.close();
});

const button = (name: string | RegExp) => page.getByRole('button', { name, exact: typeof name === 'string' });
const title = () => page.getByRole('heading', { name: 'Hybrid, Mr Grey' });

test('unsaved text of a case outlives a reload', async () => {
  await page.getByLabel('Name of the case').fill('Hybrid, Mr Grey');
  await page.getByLabel('Plate or VIN').fill('1M8GDM9AXKP042788');
  await page.getByLabel('Complaint').fill('Handle dead on cold mornings');
  const near = page.getByRole('group', { name: /fob kept within/ });
  await near.getByRole('radio', { name: 'Yes' }).check();
  await page.reload();
  await page.getByText('did not save').waitFor();
  expect(await page.getByLabel('Complaint').inputValue()).toBe('Handle dead on cold mornings');
  expect(await near.getByRole('radio', { name: 'Yes' }).isChecked()).toBe(true);
  await keepScreens(page, 'case-1-form');
  await button('Save the case').click();
  await title().waitFor();
  await page.getByText('VIN, its check digit agrees.').waitFor();
  id = (await server.get<Case[]>('cases')).find((c) => !c.demo)!.id;
});

test('a photo is drawn anew, kept, deleted and brought back; a note is written', async () => {
  await button('Add a photo').click();
  const buffer = await page.screenshot();
  const file = { name: 'photo.png', mimeType: 'image/png', buffer };
  await page.locator('input[type=file][accept="image/*"]').setInputFiles(file);
  await page.locator('.photo img').waitFor();
  await button('Write a note').click();
  await page.getByLabel('Note', { exact: true }).fill('Rain all day');
  await button('Keep the note').click();
  await page.getByText('Rain all day').waitFor();
  await button(/Delete the photo/).click();
  await eventually(() => page.locator('.photo img').count()).toBe(0);
  await button('Undo').click();
  await page.locator('.photo img').waitFor();
  const { photos, notes } = await server.get<CaseTimeline>(`cases/${id}/timeline`);
  expect(photos).toMatchObject([{ type: 'image/jpeg', kind: 'hook-up' }]);
  expect(notes).toMatchObject([{ text: 'Rain all day' }]);
});

test('a case is deleted after a question, and brought back', async () => {
  await button('Delete').last().click();
  await button('Delete the case').click();
  await button('Undo').waitFor();
  expect((await server.get<Case[]>('cases')).some((c) => c.id === id)).toBe(false);
  await keepScreens(page, 'case-2-deleted');
  await button('Undo').click();
  await title().waitFor();
});

test('what is seen to before the night is kept with the recording, each with its time', async () => {
  await page.goto(`${server.url}#/`);
  await button('Watch the virtual car').click();
  await page.getByRole('heading', { name: 'Live watch' }).waitFor();
  await page.goto(`${server.url}#/preflight/${id}`);
  await page.getByText('Arriving: ').waitFor();
  await page.getByRole('checkbox', { name: /All fobs out/ }).check();
  await page.reload();
  await page.getByText('1 of 11').waitFor();
  await page.getByText(/readings a second/).waitFor();
  await keepScreens(page, 'case-3-preflight');
  await button('Start recording').click();
  await page.getByText('It records.').waitFor();
  const { recordings } = await server.get<CaseTimeline>(`cases/${id}/timeline`);
  const { checklist, recording } = recordings[0]!;
  expect(recording.kind).toBe('overnight-test');
  expect(checklist!.ticks.map((t) => t.id)).toEqual(['fobs-away']);
  expect(checklist!.found.find((f) => f.id === 'rate')!.value).toBeGreaterThan(4);
  await page.goto(`${server.url}#/cases/${id}`);
  await page.getByText('1 of 11 seen to').waitFor();
  await keepScreens(page, 'case-4-timeline');
});

test('a case is found by a part of its VIN, and in the archive', async () => {
  await button('Archive').click();
  await button('Take out of the archive').waitFor();
  await page.goto(`${server.url}#/cases`);
  await page.getByLabel(/^Find/).fill('xkp 042');
  await button('1 in the archive').click();
  await page.getByRole('link', { name: 'Hybrid, Mr Grey' }).waitFor();
  await keepScreens(page, 'case-5-found');
});
