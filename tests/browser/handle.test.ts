import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { caseAttemptsSchema } from '../../server/messages/attempts.ts';
import { caseSchema, recordingSchema } from '../../server/messages/records.ts';
import { triesCsv } from '../helpers/triesNight.ts';
import { EmulatedBluez } from './rig/bluez.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens } from './rig/screens.ts';

/** The handle is tried on the virtual car, in a case that has tries of another day. */

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
  browser.context.on('console', (message) => {
    if (message.type() === 'error' || message.type() === 'warning') complaints.push(message.text());
  });
  browser.context.on('weberror', (error) => complaints.push(String(error.error())));
  caseId = caseSchema.parse(await server.post('cases', { title: 'Hybrid hatchback, handle dead' })).id;
  const csv = triesCsv(
    [
      { volts: 12.4, outcome: 'opened' },
      { volts: 12.1, outcome: 'locked-by-touch' },
      { volts: 11.9, outcome: 'opened' },
      { volts: 11.6, outcome: 'button-only' },
      { volts: 11.75, outcome: 'opened' },
      { volts: 11.7, outcome: 'button-only' },
      { volts: 11.4, outcome: 'button-only' },
      { volts: 11.1, outcome: 'nothing' },
    ],
    'Loaded down by the headlamps',
    '2026-01-05T09:00:00.000Z',
  );
  const reply = await fetch(`${server.url}api/import?name=tries.csv&case=${caseId}`, {
    method: 'POST',
    body: csv,
  });
  recordingSchema.parse(await reply.json());
  await server.post('virtual-car', { action: 'start' });
  page = (await browser.openPage(`${server.url}#/live/${caseId}`)).page;
});

afterAll(async () => {
  await browser?.close();
  await server.close();
  await bluez.stop();
});

const button = (name: string | RegExp) => page.getByRole('button', { name });
const attempts = () => page.getByRole('list', { name: 'Attempts, newest first' });
const stored = async () =>
  caseAttemptsSchema
    .parse(await server.get<unknown>(`cases/${caseId}/attempts`))
    .attempts.map((a) => a.outcome);

test('one tap without a recording stays in the page, and says so', async () => {
  await eventually(() => page.getByRole('main').innerText()).toMatch(/12\.\d{2,3}/);
  await page.keyboard.press('n');
  await eventually(() => attempts().innerText()).toMatch(/Nothing[\s\S]*in this page only: no recording ran/);
  expect(await stored()).toHaveLength(8);
});

test('a tap while recording is kept with its outcome and its dip', async () => {
  await button('Start recording').click();
  await button('Stop recording').waitFor();
  await page.waitForTimeout(14_000);
  await server.post('virtual-car', { action: 'touch-handle' });
  await page.waitForTimeout(1500);
  await button(/it opened by the handle/i).click();
  await eventually(stored).toHaveLength(9);
  expect((await stored())[8]).toBe('opened');
  await eventually(() => attempts().innerText()).toMatch(/9 It opened\s+12\.\d\d V to 1\d\.\d\d V, back in/);
  await keepScreens(page, '8-attempts');
});

test('a tap while the server is away waits, and is recorded at its own moment', async () => {
  await server.kill();
  await eventually(() => page.getByText(/The server does not answer/).count(), 20_000).toBeGreaterThan(0);
  await button(/locked by touch/i).click();
  await eventually(() => attempts().innerText()).toContain('waits for the server');
  await page.waitForTimeout(3000);
  await server.start();
  await eventually(stored, 30_000).toHaveLength(10);
  expect((await stored())[9]).toBe('locked-by-touch');
  await eventually(() => attempts().innerText()).not.toContain('waits for the server');
});

test('after the stop the recorded attempts stay in view, as recorded', async () => {
  await button('Stop recording').click();
  await button('Start recording').waitFor();
  const text = await attempts().innerText();
  expect(text).toMatch(/9 It opened/);
  expect(text.match(/in this page only/g)).toHaveLength(1);
});

test("this car's threshold is taken over, and given back", async () => {
  const region = page.getByRole('region', { name: /This car's threshold: 11\.7\d? V ±/ });
  await region.waitFor();
  await eventually(() => region.innerText()).toMatch(/\d+ of \d+ tries worked[\s\S]*by chance once in/);
  await button("Use it for this car's findings").click();
  await eventually(() => region.innerText()).toMatch(/from \d+ tries is in use for this car's findings/);
  await keepScreens(page, '9-threshold');
  await button('Go back to the default').click();
  await eventually(() => button("Use it for this car's findings").count()).toBe(1);
  // The server was away for a while, and a browser says so.
  expect(complaints.filter((text) => !text.includes('ERR_CONNECTION_REFUSED'))).toEqual([]);
});
