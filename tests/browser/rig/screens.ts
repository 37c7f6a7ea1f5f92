import { mkdirSync } from 'node:fs';
import type { Page } from 'playwright-core';
import { expect } from 'vitest';

export const SCREENSHOTS = new URL('../../../.build/screenshots/', import.meta.url).pathname;
const SIZES = [
  { name: 'phone', width: 390, height: 844 },
  { name: 'laptop', width: 1366, height: 768 },
] as const;

/** Keeps the whole screen at both sizes, dark and light, and sees that nothing sticks out at the side. */
export async function keepScreens(page: Page, name: string): Promise<void> {
  mkdirSync(SCREENSHOTS, { recursive: true });
  for (const colorScheme of ['dark', 'light'] as const) {
    await page.emulateMedia({ colorScheme });
    for (const size of SIZES) {
      await page.setViewportSize(size);
      await page.waitForTimeout(300); // charts redraw
      const look = colorScheme === 'dark' ? '' : '-light';
      await page.screenshot({ path: `${SCREENSHOTS}${name}-${size.name}${look}.png`, fullPage: true });
      const over = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
      expect(over, `${name} at ${size.name} size sticks out`).toBeLessThanOrEqual(0);
    }
  }
  await page.emulateMedia({ colorScheme: null });
}
