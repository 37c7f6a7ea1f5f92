import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { Case, Recording } from '../../server/messages/records.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import { Nightdraw } from './rig/nightdraw.ts';

/** The page without a mouse, with text twice as large, and without motion. */

const server = new Nightdraw();
let browser: BenchBrowser;
let page: Page;

beforeAll(async () => {
  await server.start();
  browser = await launchChromium('disabled:');
  ({ page } = await browser.openPage(server.url));
});
afterAll(async () => {
  await browser?.close();
  await server.close();
});

const focused = () =>
  page.evaluate(() => {
    const at = document.activeElement as HTMLElement | null;
    return at === null || at === document.body ? '' : (at.getAttribute('aria-label') ?? at.innerText).trim();
  });

/** Presses Tab until what has the focus is called so. */
async function tabTo(name: RegExp): Promise<void> {
  const passed: string[] = [];
  for (let i = 0; i < 80; i++) {
    await page.keyboard.press('Tab');
    const here = await focused();
    if (name.test(here)) return;
    passed.push(here);
  }
  throw new Error(`no ${String(name)} among ${passed.join(' | ')}`);
}

test('the first Tab reaches a link that leads past the navigation', async () => {
  await page.reload();
  await page.getByRole('heading', { level: 1 }).waitFor();
  await page.keyboard.press('Tab');
  expect(await focused()).toMatch(/skip|content/i);
  await page.keyboard.press('Enter');
  await page.keyboard.press('Tab');
  const inMain = await page.evaluate(() => document.activeElement?.closest('main') !== null);
  expect(inMain).toBe(true);
});

test('from the virtual car to a stopped recording with a tried handle, by keys alone', async () => {
  await tabTo(/Watch the virtual car/);
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'Live watch' }).waitFor();
  await tabTo(/^Start recording$/);
  // A button that cannot be pressed yet can have the focus: the virtual car's meters are still connecting.
  await page.getByRole('button', { name: 'Start recording', disabled: false }).waitFor();
  await page.keyboard.press('Enter');
  await page.getByRole('button', { name: 'Stop recording' }).waitFor();
  // The start button is gone; the next Tab is at what took its place.
  await page.keyboard.press('Tab');
  expect(await focused()).toBe('Stop recording');
  await page.waitForTimeout(1000);
  for (const outcome of [/it opened/, /button only/, /locked by touch/, /nothing nor/]) {
    await tabTo(outcome);
    await page.keyboard.press('Space');
    await page.waitForTimeout(400);
  }
  await tabTo(/^Stop recording$/);
  await page.keyboard.press('Enter');
  await page.getByRole('button', { name: 'Start recording' }).waitFor();
  await page.keyboard.press('Tab');
  expect(await focused()).toBe('See the findings');
  const [latest] = (await server.get<Recording[]>('recordings')).filter((r) => r.kind === 'live-watch');
  const tries = async () => {
    const detail = await server.get<{ events: { kind: string; outcome?: string }[] }>(
      `recordings/${latest!.id}`,
    );
    return detail.events.filter((e) => e.kind === 'attempt').map((e) => e.outcome);
  };
  await eventually(tries, 4000).toEqual(['opened', 'button-only', 'locked-by-touch', 'nothing']);
});

test('what has the focus can be seen', async () => {
  await page.keyboard.press('Tab');
  const outline = await page.evaluate(() => {
    const style = getComputedStyle(document.activeElement!);
    return [style.outlineStyle, parseFloat(style.outlineWidth)] as const;
  });
  expect(outline[0]).not.toBe('none');
  expect(outline[1]).toBeGreaterThanOrEqual(2);
});

test('with reduced motion nothing moves by itself', async () => {
  const moving = async (place: string): Promise<number> => {
    await page.goto(`${server.url}#/${place}`);
    await page.waitForTimeout(300);
    return page.evaluate(() => document.getAnimations().filter((a) => a.playState === 'running').length);
  };
  const { id } = await server.post<Recording>('recordings', {
    kind: 'live-watch',
    title: 'Moves',
    meters: (await server.get<{ key: string; source: string }[]>('meters'))
      .filter((m) => m.source === 'virtual')
      .map((m) => m.key),
  });
  // While it records, a dot breathes on the live page.
  await eventually(() => moving('live'), 6000).toBeGreaterThan(0);
  await page.emulateMedia({ reducedMotion: 'reduce' });
  for (const place of ['', 'live', 'recordings', 'meters', 'cases'])
    expect(await moving(place), place).toBe(0);
  await page.emulateMedia({ reducedMotion: null });
  await server.post<Recording>(`recordings/${id}/stop`, {});
});

test('text twice as large still fits a phone', async () => {
  const [night, other] = await server.get<Recording[]>('recordings');
  const [theCase] = await server.get<Case[]>('cases');
  await page.setViewportSize({ width: 390, height: 844 });
  for (const place of [
    '',
    'live',
    'cases',
    'cases/new',
    'preflight',
    'recordings',
    `recordings/${night!.id}`,
    `compare/${other!.id}/${night!.id}`,
    `cases/${theCase!.id}`,
    `cases/${theCase!.id}/edit`,
    `cases/${theCase!.id}/fuses`,
    'meters',
    'help',
    'verify',
    'teach',
  ]) {
    await page.goto(`${server.url}#/${place}`);
    await page.getByRole('heading', { level: 1 }).waitFor();
    await page.evaluate(() => (document.documentElement.style.fontSize = '200%'));
    await page.waitForTimeout(300);
    const over = () => page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
    expect(await over(), place).toBeLessThanOrEqual(0);
  }
});
