import { mkdirSync } from 'node:fs';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { Recording } from '../../server/messages/records.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';
import { keepScreens, SCREENSHOTS } from './rig/screens.ts';

/**
 * The chart of a night in a real Chromium: a peak of one reading in a month, every way to move the window, the marks,
 * and a recording that still runs. Screens are kept in .build/screenshots.
 */

const DAYS = 30;
const EVERY_S = 20;
const PEAK_AT = 0.618;

const server = new Nightdraw();
let browser: BenchBrowser;
let page: Page;
let month: Recording;
const complaints: string[] = [];

/** A car asleep at 21 mA for a month, with one reading of 15 A. */
function monthCsv(): string {
  const n = (DAYS * 86_400) / EVERY_S;
  const peak = Math.floor(n * PEAK_AT);
  const lines = ['time_s,current_A'];
  for (let i = 0; i < n; i++)
    lines.push(`${i * EVERY_S},${i === peak ? '15.000' : i % 3 === 0 ? '0.022' : '0.021'}`);
  return lines.join('\n') + '\n';
}

beforeAll(async () => {
  mkdirSync(SCREENSHOTS, { recursive: true });
  await server.start();
  const answer = await fetch(`${server.url}api/import?name=month.csv`, { method: 'POST', body: monthCsv() });
  month = (await answer.json()) as Recording;
  browser = await launchChromium('unix:path=/nowhere');
  browser.context.on('weberror', (error) => complaints.push(String(error.error())));
  page = await browser.context.newPage();
});

afterAll(async () => {
  await browser?.close();
  await server.close();
});

const plot = () => page.locator('.night-chart .plot .u-over').last();

async function open(recording: Recording): Promise<void> {
  await page.goto(`${server.url}#/recordings/${recording.id}`);
  // The same address again would leave the page as it was.
  await page.reload();
  await page.locator('.night-chart canvas').first().waitFor();
  await page.getByRole('region', { name: 'Verdict' }).waitFor();
  await plot().scrollIntoViewIfNeeded();
  await settled();
}

/** When the finest picture for the view is drawn. */
async function settled(): Promise<void> {
  await page.waitForFunction(() => document.querySelector('.cursor-line .quiet') === null);
  await twoFrames();
}

/** Where the current's colour stands in the top eighth of its panel, as shares of its width. */
function highAt(): Promise<number[]> {
  return page.evaluate(() => {
    const canvas = [...document.querySelectorAll<HTMLCanvasElement>('.night-chart .plot canvas')].at(-1)!;
    const over = [...document.querySelectorAll<HTMLElement>('.night-chart .plot .u-over')].at(-1)!;
    const [c, o] = [canvas.getBoundingClientRect(), over.getBoundingClientRect()];
    const px = canvas.width / c.width;
    const [left, top] = [(o.left - c.left) * px, (o.top - c.top) * px];
    const [width, height] = [Math.floor(o.width * px), Math.floor((o.height / 8) * px)];
    const { data } = canvas.getContext('2d')!.getImageData(left, top, width, height);
    const amp = getComputedStyle(document.documentElement).getPropertyValue('--amp').trim();
    const rgb = [1, 3, 5].map((k) => parseInt(amp.slice(k, k + 2), 16));
    const columns = new Set<number>();
    for (let i = 0; i < data.length; i += 4)
      if (rgb.every((v, k) => Math.abs(v - data[i + k]!) < 40)) columns.add((i / 4) % width);
    return [...columns].sort((a, b) => a - b).map((x) => (x + 0.5) / width);
  });
}

const twoFrames = () =>
  page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));

/** The window as the chart says it to a screen reader. */
async function shown(): Promise<string> {
  return (await page.getByRole('application').getAttribute('aria-label')) ?? '';
}

test('a peak of one reading in a month is seen at every zoom, and the chart is never blank', async () => {
  await open(month);
  const box = (await plot().boundingBox())!;
  // From the month to less than a minute around it, where the readings stand alone.
  for (let level = 0; level <= 18; level++) {
    await settled();
    const high = await highAt();
    expect(high.length, `level ${level}, ${await shown()}`).toBeGreaterThan(0);
    // One place, and not the whole width: the scale has not shrunk to what is left without the peak.
    expect(high.at(-1)! - high[0]!, `level ${level}, ${await shown()}`).toBeLessThan(0.12);
    const x = high[high.length >> 1]!;
    await page.mouse.move(box.x + box.width * x, box.y + box.height - 6);
    await page.mouse.wheel(0, -180);
    await twoFrames();
    // At once, before anything finer can have come, the old picture is stretched.
    expect((await highAt()).length, `at once after level ${level}`).toBeGreaterThan(0);
  }
  await settled();
  expect(await shown()).toMatch(/444:57:\d\d to 444:57:\d\d|444:57:\d\d to 444:58:\d\d/);
  await page.screenshot({ path: `${SCREENSHOTS}peak-near.png` });
});

test('keys, wheel, drag and buttons move the window, and all lead back to the whole', async () => {
  await open(month);
  const whole = await shown();
  const chart = page.getByRole('application');
  await chart.focus();
  const ring = await chart.evaluate((el) => getComputedStyle(el).outlineStyle);
  expect(ring).not.toBe('none');
  const views = new Set([whole]);
  const step = async (act: () => Promise<unknown>): Promise<void> => {
    const before = await shown();
    await act();
    await eventually(shown).not.toBe(before);
    views.add(await shown());
  };
  await step(() => page.keyboard.press('+'));
  await step(() => page.keyboard.press('ArrowRight'));
  await step(() => page.keyboard.press('Home'));
  await step(() => page.keyboard.press('End'));
  await step(() => page.keyboard.press('ArrowLeft'));
  await step(() => page.keyboard.press('-'));
  await page.keyboard.press('0');
  await eventually(shown).toBe(whole);

  const box = (await plot().boundingBox())!;
  const at = (share: number) => [box.x + box.width * share, box.y + box.height / 2] as const;
  await step(async () => {
    await page.mouse.move(...at(0.3));
    await page.mouse.down();
    await page.mouse.move(...at(0.5), { steps: 4 });
    await page.mouse.up();
  });
  await step(() => page.mouse.wheel(0, -300));
  await page.mouse.dblclick(...at(0.5));
  await eventually(shown).toBe(whole);

  // Further out than the whole the wheel scrolls the page again.
  const y = () => page.evaluate(() => scrollY);
  const before = await y();
  await page.mouse.wheel(0, 400);
  await eventually(y).not.toBe(before);
  expect(await shown()).toBe(whole);
});

test('two fingers come closer, one moves', async () => {
  await page.setViewportSize({ width: 390, height: 844 });
  await open(month);
  const whole = await shown();
  const box = (await plot().boundingBox())!;
  const session = await browser.context.newCDPSession(page);
  const touch = (type: 'touchStart' | 'touchMove' | 'touchEnd', ...shares: number[]) =>
    session.send('Input.dispatchTouchEvent', {
      type,
      touchPoints: shares.map((share, id) => ({
        x: box.x + box.width * share,
        y: box.y + box.height / 2,
        id,
      })),
    });
  await touch('touchStart', 0.45, 0.55);
  for (let k = 1; k <= 6; k++) await touch('touchMove', 0.45 - 0.05 * k, 0.55 + 0.05 * k);
  await touch('touchEnd');
  await eventually(shown).not.toBe(whole);
  const near = await shown();
  await touch('touchStart', 0.7);
  for (let k = 1; k <= 6; k++) await touch('touchMove', 0.7 - 0.05 * k);
  await touch('touchEnd');
  await eventually(shown).not.toBe(near);
  await settled();
  await page.screenshot({ path: `${SCREENSHOTS}pinch-phone.png` });
  await page.setViewportSize({ width: 1366, height: 768 });
});

test('a mark says what it is to pointer, keyboard and finger, and a finding leads to its place', async () => {
  const demo = (await server.get<Recording[]>('recordings')).find(
    (r) => r.title === 'Demo night' && r.durationMs > 26_000_000,
  )!;
  await open(demo);
  const story = page.locator('.mark-story');
  const asleep = page.getByRole('button', { name: /^Asleep from/ });
  await asleep.hover();
  await eventually(() => story.innerText()).toMatch(/Asleep from/);
  await page.mouse.move(5, 5);
  await eventually(() => story.innerText()).toMatch(/Point at a mark/);
  const marks = page.getByRole('group', { name: 'Marks on the time axis' });
  await marks
    .getByRole('button', { name: /wake-up/i })
    .first()
    .focus();
  await eventually(() => story.innerText()).toMatch(/wake-up/i);

  const before = await shown();
  await page
    .getByRole('button', { name: /Show on the chart/ })
    .first()
    .click();
  await eventually(shown).not.toBe(before);
  await eventually(() => page.evaluate(() => document.activeElement?.getAttribute('role'))).toBe(
    'application',
  );
});

test('pulses are laid over each other, and two nights stand on one scale', async () => {
  const demos = (await server.get<Recording[]>('recordings')).filter((r) => r.title === 'Demo night');
  const healthy = demos.find((r) => r.durationMs > 20_000_000 && r.durationMs < 26_000_000)!;
  const waking = demos.find((r) => r.durationMs > 26_000_000)!;
  await open(healthy);
  const nearby = page.getByRole('region', { name: 'Polling from nearby' });
  await eventually(() => nearby.locator('canvas').count()).toBe(2);
  expect(await nearby.innerText()).toMatch(/\d{4,} pulses over each other/);
  expect(await nearby.innerText()).toMatch(/Period over time\. The period .* 0\.761\d* s/);
  expect(await page.getByRole('region', { name: 'Figures of this recording' }).innerText()).toMatch(
    /In all \d+\.\d+ mA ± .* a day/,
  );
  await keepScreens(page, 'night-nearby');

  await page.goto(`${server.url}#/compare/${waking.id}/${healthy.id}`);
  await page.getByRole('heading', { name: 'Figure by figure' }).waitFor();
  await eventually(() => page.locator('.pair canvas').count()).toBe(2);
  const changed = page.getByRole('region', { name: 'What changed' });
  expect(await changed.innerText()).toMatch(/Average after sleep fell by \d+\.\d+ mA ± /);
  await keepScreens(page, 'before-after');
  await page.setViewportSize({ width: 1366, height: 768 });
});

test('a recording that runs is read again by itself, and scroll and window stay', async () => {
  await server.post('virtual-car', { action: 'start' });
  await eventually(async () => (await server.get<unknown[]>('meters')).length).toBeGreaterThan(1);
  type Listed = { key: string; channels: unknown[] }[];
  const ready = async () => (await server.get<Listed>('meters')).filter((m) => m.channels.length > 0);
  await eventually(async () => (await ready()).length).toBeGreaterThan(1);
  const meters = (await ready()).map((m) => m.key);
  const running = await server.post<Recording>('recordings', {
    kind: 'overnight-test',
    title: 'Tonight',
    meters,
  });
  await page.clock.install();
  await page.waitForTimeout(4000);
  await open(running);
  await page.keyboard.press('Escape');
  await page.getByRole('application').focus();
  await page.keyboard.press('+');
  await page.keyboard.press('Home');
  await page.evaluate(() => scrollTo(0, 300));
  const view = await shown();
  const top = await page.evaluate(() => scrollY);
  const upTo = () => page.getByText(/^Findings so far/).innerText();
  const asked: string[] = [];
  page.on('request', (r) => asked.push(r.url()));
  await page.waitForTimeout(2500);
  await page.clock.runFor(61_000);
  await eventually(() => asked.filter((u) => u.includes('/findings')).length).toBeGreaterThan(0);
  expect(await upTo()).toMatch(/worked out anew each minute/);
  await settled();
  expect(await shown()).toBe(view);
  expect(await page.evaluate(() => scrollY)).toBe(top);
  await server.post(`recordings/${running.id}/stop`, {});
});

test('the pages had nothing to complain of', () => {
  expect(complaints).toEqual([]);
});
