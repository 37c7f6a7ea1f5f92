import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { TaughtMeter } from '../../server/messages/taughtMeters.ts';
import { UNKNOWN_CHARACTERISTIC, UNKNOWN_SERVICE, UnknownMeter } from '../helpers/unknownMeter.ts';
import { EmulatedBluez } from './rig/bluez.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens } from './rig/screens.ts';

/** A meter that nothing reads is taught in the page, by what its display shows, and read from then on. */

const ADDRESS = 'C0:FF:EE:00:00:07';
const server = new Nightdraw();
const bluez = new EmulatedBluez();
const meter = new UnknownMeter('unknown', 'Bench meter');
let browser: BenchBrowser;
let page: Page;

beforeAll(async () => {
  await bluez.start();
  await server.start();
  browser = await launchChromium(bluez.address);
  bluez.addMeter(ADDRESS, meter);
  const opened = await browser.openPage(`${server.url}#/teach`);
  opened.choose = ADDRESS;
  page = opened.page;
  // A browser hands over only services that were named to it.
  await page.evaluate(async (service) => {
    await fetch('api/taught-meters/vendor-services', {
      method: 'PUT',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify([service]),
    });
  }, UNKNOWN_SERVICE);
  await page.reload();
  await page.getByRole('heading', { name: 'Teach a meter' }).waitFor();
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await server.close();
  await bluez.stop();
});

const found = () => page.getByRole('region', { name: 'What was found' });

/** The meter shows a figure; it is held, typed and kept. */
async function glance(millivolts: number, display: string): Promise<void> {
  const hex = [0xaa, (millivolts >> 8) & 255, millivolts & 255].map((b) => b.toString(16).padStart(2, '0'));
  await expect
    .poll(
      async () => {
        meter.send(millivolts);
        return page.getByRole('list', { name: 'Newest frames' }).locator('li').first().innerText();
      },
      { timeout: 8000 },
    )
    .toBe(hex.join(''));
  await page.getByRole('button', { name: 'Hold this frame' }).click();
  await page.getByLabel('The display reads').fill(display);
  await page.getByRole('button', { name: 'Keep this glance' }).click();
  await page.getByRole('button', { name: `Remove ${display}` }).waitFor();
}

test('what the display reads, five times, teaches the meter', async () => {
  const choose = page.getByRole('button', { name: 'Choose a meter in this browser' });
  await choose.click();
  await page.getByRole('heading', { name: 'What arrives from Bench meter' }).waitFor();
  await glance(12_630, '12.630 V');
  await glance(12_481, '12.481 V');
  await keepScreens(page, 'teaching-two-glances');
  const save = page.getByRole('button', { name: 'Save this meter' });
  expect(await save.getAttribute('aria-disabled')).toBe('true');
  await glance(-304, '-0.304 V');
  await glance(0, '0.000 V');
  await glance(9127, '9.127 V');
  await found().getByText('One encoding fits all glances.').waitFor({ timeout: 8000 });
  await keepScreens(page, 'teaching-learned');

  const readsNow = async () => {
    meter.send(11_111);
    return found().innerText();
  };
  await eventually(readsNow, 6000).toContain('It reads now: 11.111 V');
  expect(await page.getByText('Not shown yet:').innerText()).toContain('another range or unit');
  await page.getByLabel('Name of this kind of meter').fill('Bench kind');
  await save.click();
  await page.getByText('Bench kind is saved and read from now on.').waitFor({ timeout: 8000 });
  const [kept] = await server.get<TaughtMeter[]>('taught-meters');
  expect(kept!.description).toMatchObject({
    title: 'Bench kind',
    nameStartsWith: 'Bench meter',
    length: 3,
    source: { service: UNKNOWN_SERVICE, characteristic: UNKNOWN_CHARACTERISTIC },
    value: { kind: 'integer', at: 1, octets: 2, order: 'big', sign: 'twos-complement' },
  });
}, 60_000);

test('from then on it is read, without a reload', async () => {
  await page.getByRole('link', { name: 'See its reading' }).click();
  await page.getByRole('heading', { name: 'Meters', level: 1 }).waitFor();
  const reading = async () => {
    meter.send(12_345);
    return page.getByRole('region', { name: 'In this browser' }).innerText();
  };
  await eventually(reading, 8000).toMatch(/12\.345\sV/);
});

test('a text that is no figure of a display is refused in words, and a glance can be taken back', async () => {
  await page.goto(`${server.url}#/teach`);
  await page.reload();
  await page.getByRole('button', { name: 'Choose a meter in this browser' }).click();
  await page.getByRole('heading', { name: 'What arrives from Bench meter' }).waitFor();
  await glance(100, '0.100 V');
  meter.send(101);
  await page.getByRole('button', { name: 'Hold this frame' }).click();
  await page.getByLabel('The display reads').fill('twelve');
  await page.getByText('is no display reading').waitFor();
  const keep = page.getByRole('button', { name: 'Keep this glance' });
  expect(await keep.getAttribute('aria-disabled')).toBe('true');
  await page.getByRole('button', { name: 'Let it go' }).click();
  await page.getByRole('button', { name: 'Remove 0.100 V' }).click();
  await page.getByRole('heading', { name: 'Glances: 0' }).waitFor();
  await page.getByRole('button', { name: 'Another meter' }).click();
  await page.getByRole('heading', { name: 'Choose the meter' }).waitFor();
}, 40_000);
