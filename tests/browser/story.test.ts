import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { processClock } from '../../drivers/links/node/clock.ts';
import { createCar, type VirtualCar } from '../../server/simulator/car.ts';
import { virtualPeers } from '../../server/simulator/peer.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';
import { findingsSchema } from '../../server/messages/findings.ts';
import type { Recording } from '../../server/messages/records.ts';
import { EmulatedBluez } from './rig/bluez.ts';
import { launchChromium, type BenchBrowser, type BenchPage } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens } from './rig/screens.ts';

/**
 * What a newcomer does, in the real page of the real server: connect two meters over Web Bluetooth, record,
 * try the handle, stop, read the findings; watch the virtual car; open a demo night. Every screen is kept at
 * phone and laptop size in .build/screenshots.
 */

const CLAMP = 'C0:FF:EE:00:02:01';
const VOLTMETER = 'C0:FF:EE:00:02:02';

const bluez = new EmulatedBluez();
const server = new Nightdraw();
let browser: BenchBrowser;
let bench: BenchPage;
let page: Page;
let car: VirtualCar;
let originMs: number;
const complaints: string[] = [];

beforeAll(async () => {
  await bluez.start();
  await server.start();
  browser = await launchChromium(bluez.address);
  browser.context.on('console', (message) => {
    if (message.type() === 'error' || message.type() === 'warning') complaints.push(message.text());
  });
  browser.context.on('weberror', (error) => complaints.push(String(error.error())));
  bench = await browser.openPage(server.url);
  page = bench.page;

  car = createCar(SCENARIOS['short-night'], 3);
  originMs = processClock.nowMs();
  const [clamp, voltmeter] = virtualPeers(car, { originMs });
  bluez.addMeter(CLAMP, { ...clamp!, name: 'Bench clamp' });
  bluez.addMeter(VOLTMETER, { ...voltmeter!, name: 'Bench voltmeter' });
});

afterAll(async () => {
  await browser?.close();
  await server.close();
  await bluez.stop();
});

const button = (name: string | RegExp) => page.getByRole('button', { name });
const heading = (name: string | RegExp) => page.getByRole('heading', { name });

test('the first page offers three ways in', async () => {
  await heading('A meter near this screen').waitFor();
  expect(await button('Connect a meter in this browser').isEnabled()).toBe(true);
  expect(await button('Watch the virtual car').isEnabled()).toBe(true);
  expect(await heading('A meter near the server').count()).toBe(1);
  await keepScreens(page, '1-start');
});

test('a meter is connected from the first page, a second one from the meters page', async () => {
  bench.choose = CLAMP;
  await button('Connect a meter in this browser').click();
  await heading('Live watch').waitFor();
  bench.choose = VOLTMETER;
  await page.goto(`${server.url}#/meters`);
  await button('Connect a meter in this browser').click();
  await eventually(() => page.getByText('Bench voltmeter').count()).toBeGreaterThan(0);
  await keepScreens(page, '2-meters');
});

test('the live watch shows both figures and the handle is tried', async () => {
  await page.goto(`${server.url}#/live`);
  await eventually(() => page.getByRole('main').innerText()).toMatch(/12\.\d{2,3}/);
  await button('Start recording').click();
  await button('Stop recording').waitFor();
  await page.waitForTimeout(3000);
  car.touchHandle(processClock.nowMs() - originMs);
  await page.waitForTimeout(1500);
  await button(/it opened/i).click();
  await page.waitForTimeout(2500);
  await keepScreens(page, '3-live');
});

test('the recording is stopped and its findings are read', async () => {
  await button('Stop recording').click();
  await button('Start recording').waitFor();
  const [recording] = await server.get<Recording[]>('recordings');
  expect(recording).toMatchObject({ kind: 'live-watch', state: 'stopped' });
  await page.goto(`${server.url}#/recordings/${recording!.id}`);
  await page.getByRole('region', { name: 'Verdict' }).waitFor();
  await page.getByRole('region', { name: 'Figures of this recording' }).waitFor();
  await keepScreens(page, '4-night');

  const findings = findingsSchema.parse(await server.get<unknown>(`recordings/${recording!.id}/findings`));
  const [current, voltage] = ['current', 'voltage'].map((quantity) =>
    findings.recording.channels.find((c) => c.quantity === quantity)!,
  );
  // 20 conversions a second for what the page recorded, less what the radio loses.
  for (const channel of [current!, voltage!]) {
    expect(channel.samples).toBeGreaterThan(17 * findings.recording.durationS);
    expect(channel.gaps).toEqual([]);
  }
  await eventually(() => button(/Attempt 1: opened/).count()).toBe(1);
});

test('the virtual car is watched, and answers its handle', async () => {
  await page.goto(`${server.url}#/meters`);
  for (const left of [1, 0]) {
    await button('Disconnect').first().click();
    await eventually(() => button('Disconnect').count()).toBe(left);
  }
  await page.goto(`${server.url}#/`);
  await button('Watch the virtual car').click();
  await heading('Live watch').waitFor();
  const lowest = async (): Promise<number> => {
    const text = await page.getByRole('region', { name: 'Voltage' }).innerText();
    return Number(/Lowest held\s+([\d.]+)/.exec(text)?.[1] ?? NaN);
  };
  await eventually(lowest).toBeGreaterThan(10);
  await page.waitForTimeout(1500);
  const before = await lowest();
  await page.goto(`${server.url}#/meters`);
  await button('Touch the handle').click();
  await page.goto(`${server.url}#/live`);
  await eventually(lowest).toBeLessThan(before - 0.05);
  await page.waitForTimeout(1000);
  await keepScreens(page, '5-virtual-car');
});

test('a demo night is opened from its case', async () => {
  await page.goto(`${server.url}#/`);
  await page
    .getByRole('link', { name: /Hybrid hatchback/ })
    .first()
    .click();
  await page.waitForTimeout(500);
  await keepScreens(page, '6-case');
  await page
    .getByRole('link', { name: /Demo night/ })
    .first()
    .click();
  await page.getByRole('region', { name: 'Verdict' }).waitFor();
  await eventually(() => page.getByRole('region', { name: 'Verdict' }).innerText()).toMatch(/unreliable/i);
  await eventually(() => page.locator('canvas').count()).toBeGreaterThan(0);
  await keepScreens(page, '7-demo-night');
});

test('the page had nothing to complain of', () => {
  expect(complaints).toEqual([]);
});
