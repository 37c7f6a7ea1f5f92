import { EmulatedBluez } from './bluez.ts';
import { launchChromium, type BenchBrowser } from './chromium.ts';
import { servePage, type PageServer } from './pageServer.ts';

/** An emulated adapter, a browser on it, and one of our pages. */
export interface LinkBenchRig {
  readonly bluez: EmulatedBluez;
  readonly browser: BenchBrowser;
  readonly server: PageServer;
  close(): Promise<void>;
}

export const METER_ADDRESS = 'C0:FF:EE:00:00:01';
export const OTHER_ADDRESS = 'C0:FF:EE:00:00:02';

export async function startLinkBench(script = 'linkPage.ts'): Promise<LinkBenchRig> {
  const bluez = new EmulatedBluez();
  await bluez.start();
  const server = await servePage(new URL(`../pages/${script}`, import.meta.url).pathname);
  const browser = await launchChromium(bluez.address);
  return {
    bluez,
    browser,
    server,
    async close() {
      await browser.close();
      await server.close();
      await bluez.stop();
    },
  };
}
