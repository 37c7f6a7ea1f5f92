import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { chromium, type BrowserContext, type Page } from 'playwright-core';

const CANDIDATES = [process.env.NIGHTDRAW_CHROMIUM, '/usr/bin/chromium', '/usr/bin/chromium-browser'];

export interface BenchBrowser {
  readonly context: BrowserContext;
  /** Opens a page whose Bluetooth chooser takes the meter that `choose` names as soon as it is listed. */
  openPage(url: string): Promise<BenchPage>;
  close(): Promise<void>;
}

export interface BenchPage {
  readonly page: Page;
  /** Address of the meter that the chooser takes; null cancels the chooser. */
  choose: string | null;
  /** Addresses that its choosers have listed so far. */
  readonly listed: ReadonlySet<string>;
  /** Choosers that were closed without a choice. */
  cancelled: number;
  /** Choosers in which a meter was taken. */
  chosen: number;
}

/** A real Chromium whose Bluetooth is the emulated one. Each has a profile of its own. */
export async function launchChromium(
  busAddress: string,
  viewport: { readonly width: number; readonly height: number } = { width: 1366, height: 768 },
): Promise<BenchBrowser> {
  const executablePath = CANDIDATES.find((candidate) => candidate && existsSync(candidate));
  if (!executablePath)
    throw new Error('no Chromium: install the package "chromium" or set NIGHTDRAW_CHROMIUM');
  const profile = mkdtempSync(path.join(tmpdir(), 'nightdraw-chromium-'));
  const context = await chromium.launchPersistentContext(profile, {
    executablePath,
    headless: true,
    viewport,
    env: {
      ...process.env,
      DBUS_SYSTEM_BUS_ADDRESS: busAddress,
      DBUS_SESSION_BUS_ADDRESS: 'disabled:',
    },
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
      '--enable-features=WebBluetooth',
    ],
  });
  return {
    context,
    async openPage(url) {
      const page = await context.newPage();
      const listed = new Set<string>();
      const bench: BenchPage = { page, choose: null, listed, cancelled: 0, chosen: 0 };
      const session = await context.newCDPSession(page);
      const answered = new Set<string>(); // answering one prompt twice ends the browser
      session.on('DeviceAccess.deviceRequestPrompted', ({ id, devices }) => {
        for (const device of devices) listed.add(device.id);
        if (answered.has(id)) return;
        if (bench.choose === null) {
          answered.add(id);
          bench.cancelled++;
          void session.send('DeviceAccess.cancelPrompt', { id }).catch(() => undefined);
        } else if (devices.some((device) => device.id === bench.choose)) {
          answered.add(id);
          bench.chosen++;
          void session
            .send('DeviceAccess.selectPrompt', { id, deviceId: bench.choose })
            .catch(() => undefined);
        }
      });
      await session.send('DeviceAccess.enable');
      await page.goto(url);
      return bench;
    },
    async close() {
      await context.close();
      rmSync(profile, { recursive: true, force: true });
    },
  };
}
