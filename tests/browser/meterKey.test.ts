import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { processClock } from '../../drivers/links/node/clock.ts';
import { createCar } from '../../server/simulator/car.ts';
import { virtualPeers } from '../../server/simulator/peer.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';
import { startRig, type Rig } from '../bluetooth/rig.ts';
import { axeObjections } from './rig/axe.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens } from './rig/screens.ts';

/** The bind key of a meter at the server's own radio: saved from the page, and never shown again. */

const KEY = '231d39c1d7cc1ab1aee224cd096db932';
const own = { NODE_OPTIONS: process.env.NODE_OPTIONS, NIGHTDRAW_RIG: process.env.NIGHTDRAW_RIG };
const server = new Nightdraw();
let rig: Rig;
let browser: BenchBrowser;
let page: Page;

beforeAll(async () => {
  const car = createCar(SCENARIOS.live, 3);
  const peers = virtualPeers(car, { originMs: processClock.nowMs() });
  rig = await startRig({ peripherals: peers.map((peer) => ({ peer })) });
  Object.assign(process.env, rig.env);
  await server.start();
  for (const [name, value] of Object.entries(own))
    if (value === undefined) delete process.env[name];
    else process.env[name] = value;
  browser = await launchChromium('disabled:');
  ({ page } = await browser.openPage(`${server.url}#/meters`));
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await server.close();
  await rig.close();
});

test('a bind key is refused in words, saved, not shown again, and removed', async () => {
  await server.post('meters/scan', { seconds: 2 });
  const meter = page.getByRole('listitem').filter({ hasText: 'Virtual clamp' });
  await meter.locator('summary', { hasText: 'Key of an encrypted broadcast' }).click();
  await meter.getByText('No key is kept.').waitFor();
  const field = meter.getByLabel('Bind key', { exact: true });
  await field.fill('secret');
  await meter.getByRole('button', { name: 'Save the key' }).click();
  await meter.getByText('A bind key is 32 hexadecimal digits').waitFor();
  await field.fill(KEY);
  await meter.getByRole('button', { name: 'Save the key' }).click();
  await meter.getByText('A key is kept for this meter').waitFor();
  expect(await server.get('meters/bind-keys')).toEqual([rig.peripheral('clamp').address]);
  await page.reload();
  await meter.locator('summary', { hasText: 'Key of an encrypted broadcast' }).click();
  await meter.getByText('A key is kept for this meter').waitFor();
  expect(await meter.getByLabel('Another bind key').inputValue()).toBe('');
  expect(await page.content()).not.toContain(KEY);
  await meter.locator('summary', { hasText: 'Record of this meter' }).click();
  await meter.getByLabel('Question').fill('READ?');
  await meter.getByLabel('A bare number means').selectOption({ label: 'A' });
  await meter.getByRole('button', { name: 'Save the record' }).click();
  await meter.getByText('Saved.').waitFor();
  expect(await server.get('meters/records')).toMatchObject([
    { record: { query: { text: 'READ?', intervalMs: 500 }, unitless: 'current' } },
  ]);
  await keepScreens(page, 'meter-key');
  expect(await axeObjections(page)).toEqual([]);
  await meter.getByRole('button', { name: 'Remove the key' }).click();
  await eventually(() => server.get('meters/bind-keys')).toEqual([]);
}, 60_000);
