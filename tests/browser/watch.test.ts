import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { recordingSchema, type RecordingEvent } from '../../server/messages/records.ts';
import { webhookBodySchema, type WebhookBody } from '../../server/messages/watch.ts';
import { EmulatedBluez } from './rig/bluez.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens } from './rig/screens.ts';

/** An overnight test of the virtual car, armed on one screen and seen on two, with a webhook that listens. */

const bluez = new EmulatedBluez();
const server = new Nightdraw();
const heard: WebhookBody[] = [];
const hook = createServer((request, response) => {
  let text = '';
  request.on('data', (chunk: Buffer) => (text += chunk.toString()));
  request.on('end', () => {
    heard.push(webhookBodySchema.parse(JSON.parse(text)));
    response.writeHead(204).end();
  });
});
let browser: BenchBrowser;
let page: Page;
let second: Page;
let id: string;
const complaints: string[] = [];

beforeAll(async () => {
  await bluez.start();
  await server.start();
  await new Promise<void>((done) => hook.listen(0, '127.0.0.1', done));
  browser = await launchChromium(bluez.address);
  browser.context.on('weberror', (error) => complaints.push(String(error.error())));
  await server.post('virtual-car', { action: 'start' });
  await new Promise((done) => setTimeout(done, 1500));
  const body = {
    kind: 'overnight-test',
    title: 'Night',
    zone: 'UTC',
    meters: ['virtual:clamp', 'virtual:voltmeter'],
  };
  ({ id } = recordingSchema.parse(await server.post('recordings', body)));
  page = (await browser.openPage(`${server.url}#/live`)).page;
  second = (await browser.openPage(`${server.url}#/live`)).page;
});

afterAll(async () => {
  await browser?.close();
  await server.close();
  await bluez.stop();
  hook.close();
});

const button = (name: string | RegExp, on = page) => on.getByRole('button', { name });
const warnings = async (): Promise<string[]> => {
  const { events } = await server.get<{ events: RecordingEvent[] }>(`recordings/${id}`);
  return events.filter((e) => e.kind === 'warning').map((e) => e.text);
};

test('it is armed with what to warn of, and the address is tried', async () => {
  await page.getByText('Not armed: nobody is warned.').waitFor();
  await page.getByText('What to warn of').click();
  await page.getByLabel('Battery below').fill('13');
  await page.getByLabel(/webhook/).fill('ftp://nowhere');
  await button('Arm with these').click();
  await page.getByText(/begins with http/).waitFor();
  await page.getByLabel(/webhook/).fill(`http://127.0.0.1:${(hook.address() as AddressInfo).port}/night`);
  await button('Arm with these').click();
  await page.getByText(/Armed: warns of the battery below 13 V.*Also tells 127\.0\.0\.1/).waitFor();
  await button('Send a test message').click();
  await page.getByText(/took the message/).waitFor();
  expect(heard).toMatchObject([{ test: true, warning: null }]);
});

test('the warning comes once: in the recording, to the webhook, and on both screens', async () => {
  await button(/Sound is off/).click();
  await button('Sound is on').waitFor();
  await eventually(warnings, 60_000).toHaveLength(1);
  for (const screen of [page, second])
    await eventually(() => screen.getByRole('alert').first().innerText(), 30_000).toMatch(
      /below the floor of 13\.00 V/,
    );
  await eventually(() => heard.length).toBe(2);
  expect(heard[1]).toMatchObject({
    test: false,
    warning: { code: 'battery-low' },
    recording: { title: 'Night' },
  });
  await eventually(() => page.locator('.glance').innerText(), 30_000).toMatch(
    /^(Not settled yet|Asleep|Still awake)/,
  );
  await button('Heard').click();
  await keepScreens(page, '10-overnight');
});

test('it survives a reload of the page and a restart of the server', async () => {
  await page.reload();
  await page.getByText(/Armed: warns of the battery below 13 V/).waitFor();
  await server.kill();
  await second.getByText(/it goes on by itself/).waitFor({ timeout: 20_000 });
  await server.start();
  await eventually(() => page.getByText(/Armed: warns of the battery below 13 V/).count(), 30_000).toBe(1);
  await page.waitForTimeout(45_000);
  expect((await warnings()).filter((text) => text.includes('floor'))).toHaveLength(1);
  expect(complaints).toEqual([]);
});
