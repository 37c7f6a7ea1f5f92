import { readFile } from 'node:fs/promises';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { Findings } from '../../server/messages/findings.ts';
import type { KeptMeterRecord } from '../../server/messages/meterRecord.ts';
import { recordingSchema } from '../../server/messages/records.ts';
import type { TaughtMeter } from '../../server/messages/taughtMeters.ts';
import { UNKNOWN_METER_TAUGHT } from '../helpers/unknownMeter.ts';
import { axeObjections } from './rig/axe.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens } from './rig/screens.ts';

/** The record of a meter and its zero checks, from the page to the findings. */

const server = new Nightdraw();
let browser: BenchBrowser;
let page: Page;
let asleepAtMs: number;
const complaints: string[] = [];

beforeAll(async () => {
  await server.start();
  browser = await launchChromium('disabled:');
  browser.context.on('weberror', (error) => complaints.push(String(error.error())));
  await server.post('virtual-car', { action: 'start' });
  asleepAtMs = Date.now() + 53_000; // the virtual car's last stage
  ({ page } = await browser.openPage(`${server.url}#/meters`));
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await server.close();
});

const clamp = () => page.getByRole('listitem').filter({ hasText: 'Virtual clamp' });
const unfold = (title: string) => clamp().locator('summary', { hasText: title }).click();
const save = () => clamp().getByRole('button', { name: 'Save the record' }).click();

test('the record of a meter is filled in, with sentences where a text cannot be read', async () => {
  await unfold('Record of this meter');
  await clamp().getByLabel('Name').fill('Clamp 2');
  await clamp().getByLabel('Serial number').fill('4711');
  await clamp().getByRole('button', { name: 'Add a range' }).click();
  await clamp().getByLabel('Up to').fill('60');
  await clamp().getByLabel('Accuracy').fill('quite good');
  await clamp().getByLabel('Certificate number').fill('C-2026-14');
  await clamp().getByLabel('Date of calibration').fill('2026-03-01');
  await clamp().getByRole('button', { name: 'Add what is certified' }).click();
  await clamp().getByLabel('Uncertainty').fill('0,002');
  await clamp().getByLabel('As found').fill('+2 mA at 100 mA');
  await save();
  await clamp().getByText('Write percent and digits, for example 0.5 % + 3 digits.').first().waitFor();
  const focused = () => page.evaluate(() => (document.activeElement as HTMLInputElement).value);
  await eventually(focused).toBe('quite good');
  await keepScreens(page, 'meter-record');
  expect(await axeObjections(page)).toEqual([]);
  expect(await server.get('meters/records')).toEqual([]);

  await clamp().getByLabel('Accuracy').fill('1.5 % + 3 digits');
  await save();
  await clamp().getByText('Saved.').waitFor();
  expect(await server.get<KeptMeterRecord[]>('meters/records')).toMatchObject([
    {
      meterKey: 'virtual:clamp',
      record: {
        name: 'Clamp 2',
        serial: '4711',
        accuracy: [{ quantity: 'current', upTo: 60, percent: 1.5, digits: 3 }],
        calibration: {
          number: 'C-2026-14',
          lines: [{ quantity: 'current', fixed: 0.002, k: 2, asFound: '+2 mA at 100 mA' }],
        },
      },
    },
  ]);
}, 60_000);

test('a zero check is refused in words where nothing arrives', async () => {
  const voltmeter = page.getByRole('listitem').filter({ hasText: 'Virtual voltmeter' });
  await voltmeter.locator('summary', { hasText: 'Zero check' }).click();
  await page.route('**/zero-check', (route) =>
    route.fulfill({
      status: 504,
      json: { error: 'meter-unreachable', sentence: 'It sent too few live readings. Is HOLD off?' },
    }),
  );
  await voltmeter.getByRole('button', { name: 'Check the zero of Virtual voltmeter' }).click();
  await voltmeter.getByRole('alert').filter({ hasText: 'Is HOLD off?' }).waitFor();
  await page.unroute('**/zero-check');
});

test('a zero check before and one after reach the findings, with the record', async () => {
  await unfold('Zero check');
  const check = clamp().getByRole('button', { name: 'Check the zero of Virtual clamp' });
  await check.click();
  await clamp().getByText('Goes into the next recording').waitFor({ timeout: 20_000 });
  expect(await clamp().innerText()).toMatch(
    /Zero of current −?[\d.]+\smA, spread 1\.\d+\smA \(\d+ readings\)/,
  );
  await keepScreens(page, 'meter-zero-check');
  expect(await axeObjections(page)).toEqual([]);

  await page.waitForTimeout(Math.max(0, asleepAtMs - Date.now()));
  const { id } = recordingSchema.parse(
    await server.post('recordings', {
      kind: 'overnight-test',
      title: 'Zeroed night',
      zone: 'UTC',
      meters: ['virtual:clamp', 'virtual:voltmeter'],
    }),
  );
  await page.waitForTimeout(8000);
  await server.post(`recordings/${id}/stop`, {});
  const findings = () => server.get<Findings>(`recordings/${id}/findings`);
  const said = async () => (await findings()).flags.map((f) => f.summary);
  expect(await said()).toContain('The zero of the current meter was checked only once.');
  // Of the clamp it was: it stands in the record.
  expect(await said()).toContain('The accuracy of the voltage meter was not stated.');

  await page.reload();
  await unfold('Zero check');
  await clamp()
    .getByLabel('The check belongs to')
    .selectOption({ label: 'Zeroed night, as the check after it' });
  await check.click();
  await clamp().getByText('Kept with the recording, after it.').waitFor({ timeout: 20_000 });
  expect((await findings()).flags.map((f) => f.code)).not.toContain('zero-not-checked');
  const report = await server.text(`recordings/${id}/report.html`);
  for (const text of ['Zero before, current', 'Zero after, current', 'certificate C-2026-14', 'serial 4711'])
    expect(report).toContain(text);
}, 120_000);

test('a description comes in from a file, goes out as it came, is deleted and brought back', async () => {
  const taught = page.getByRole('region', { name: 'Taught meters' });
  const choose = (text: string) =>
    taught
      .locator('input[type=file]')
      .setInputFiles({ name: 'x.json', mimeType: 'application/json', buffer: Buffer.from(text) });
  await choose('{"volts": 12}');
  await taught.getByText('This file is no meter description').waitFor();
  await choose(JSON.stringify(UNKNOWN_METER_TAUGHT));
  await taught.getByText(UNKNOWN_METER_TAUGHT.title, { exact: true }).waitFor();
  const download = page.waitForEvent('download');
  await taught.getByRole('link', { name: 'Export' }).click();
  const file = await download;
  expect(file.suggestedFilename()).toBe('taught-millivolts.meter.json');
  expect(JSON.parse(await readFile(await file.path(), 'utf8'))).toEqual(UNKNOWN_METER_TAUGHT);

  await taught.locator('summary', { hasText: 'Services of makers' }).click();
  await taught.getByLabel('Services to ask the browser for').fill('ffe0, nothing');
  await taught.getByRole('button', { name: 'Save the services' }).click();
  await taught.getByText('"nothing" is no service').waitFor();
  await taught.getByLabel('Services to ask the browser for').fill('FFE0');
  await taught.getByRole('button', { name: 'Save the services' }).click();
  await taught.getByText('Saved.').waitFor();
  expect(await server.get('taught-meters/vendor-services')).toEqual(['ffe0']);
  await keepScreens(page, 'meter-taught');
  expect(await axeObjections(page)).toEqual([]);

  const kept = async () => (await server.get<TaughtMeter[]>('taught-meters')).map((t) => t.description);
  await taught.getByRole('button', { name: `Delete ${UNKNOWN_METER_TAUGHT.title}` }).click();
  await page.getByRole('button', { name: 'Delete the description' }).click();
  await eventually(kept).toEqual([]);
  await page.getByRole('button', { name: 'Undo' }).click();
  await eventually(kept).toEqual([UNKNOWN_METER_TAUGHT]);
  await taught.getByText(UNKNOWN_METER_TAUGHT.title, { exact: true }).waitFor();
  expect(complaints).toEqual([]);
}, 60_000);
