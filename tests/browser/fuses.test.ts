import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { fuseWalkSchema } from '../../server/messages/fuses.ts';
import { caseSchema, recordingSchema } from '../../server/messages/records.ts';
import { EmulatedBluez } from './rig/bluez.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens } from './rig/screens.ts';

/** The fuse walk at the virtual car: by millivolts, by pulling, against the clamp; kept with the case. */

const bluez = new EmulatedBluez();
const server = new Nightdraw();
let browser: BenchBrowser;
let page: Page;
let caseId: string;
const complaints: string[] = [];

beforeAll(async () => {
  await bluez.start();
  await server.start();
  browser = await launchChromium(bluez.address);
  browser.context.on('weberror', (error) => complaints.push(String(error.error())));
  caseId = caseSchema.parse(await server.post('cases', { title: 'Estate, flat after a week' })).id;
  await server.post('virtual-car', { action: 'start' });
  await new Promise((done) => setTimeout(done, 1500));
  const meters = ['virtual:clamp', 'virtual:voltmeter'];
  const body = { kind: 'live-watch', title: 'Fuse walk', caseId, zone: 'UTC', meters };
  recordingSchema.parse(await server.post('recordings', body));
  page = (await browser.openPage(`${server.url}#/cases/${caseId}`)).page;
});

afterAll(async () => {
  await browser?.close();
  await server.close();
  await bluez.stop();
});

const button = (name: string | RegExp) => page.getByRole('button', { name });
const list = () => page.getByRole('list', { name: 'Fuses, largest current first' });
const walk = async () => fuseWalkSchema.parse(await server.get<unknown>(`cases/${caseId}/fuses`));

test('fuses are measured by millivolts, each with what it proves', async () => {
  await page.getByRole('link', { name: 'Find the circuit' }).click();
  await page.getByRole('heading', { name: 'Finding the circuit' }).waitFor();
  const add = async (place: string, rating: string, millivolts: string) => {
    await page.getByLabel('Fuse', { exact: true }).fill(place);
    await page.getByLabel('Printed on it').selectOption(rating);
    await page.getByLabel('Across it').fill(millivolts);
    await page
      .getByText(/^\d+(\.\d+)? mA ± /)
      .first()
      .waitFor();
    await button('Add to the list').click();
    await eventually(() => list().innerText()).toContain(place);
  };
  await add('F12 radio', '10', '1.60');
  await add('F3 body unit', '20', '0.00');
  expect(await list().innerText()).toMatch(
    /F12 radio\s+210 mA ± 20 mA[\s\S]*F3 body unit[\s\S]*Not told apart from none/,
  );
  await button('Add to the list').click();
  await page.getByText('Name the fuse as the box does.').waitFor();
});

test('a fuse that is pulled is measured while it is out', async () => {
  await page.waitForTimeout(25_000); // the draw before
  await page.getByLabel('Fuse to pull').fill('F7 horn');
  await button('Pulled now').click();
  await eventually(() => list().innerText()).toMatch(/F7 horn\s+(being measured|no figure)/);
  await page.waitForTimeout(1000);
  if ((await button('Put back now').count()) > 0) await button('Put back now').click();
  await eventually(async () =>
    (await walk()).lines.every((l) => l.measured.way === 'drop' || l.measured.isFinal),
  ).toBe(true);
  // Put back after a second: too early for a figure, and none is made up.
  expect((await walk()).lines.find((l) => l.place === 'F7 horn')!.currentA).toBeNull();
});

test('the sum stands against the whole draw, and outlives a reload', async () => {
  await page.getByText('Enter it by hand').click();
  await page.getByLabel('Whole draw', { exact: true }).fill('310');
  await page.getByLabel('May be off by').fill('5');
  await button('Keep it').click();
  await eventually(() => page.getByRole('main').innerText()).toMatch(
    /Whole draw by the clamp\s+310 mA ± 5 mA/,
  );
  await keepScreens(page, '11-fuses');
  await page.reload();
  await eventually(() => list().innerText()).toMatch(/F12 radio\s+210 mA ± 20 mA/);
  await button('Take off the list: F7 horn').click();
  await eventually(() => list().innerText()).not.toContain('F7 horn');
  expect((await walk()).lines.map((l) => l.place)).toEqual(['F12 radio', 'F3 body unit']);
  expect(complaints).toEqual([]);
});
