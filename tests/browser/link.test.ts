import { afterAll, beforeAll, expect } from 'vitest';
import { linkContract } from '../contract/link.ts';
import { contractPeer, METER, OTHER_METER } from '../contract/linkMeters.ts';
import { EmulatedBluez } from './rig/bluez.ts';
import { launchChromium, type BenchBrowser } from './rig/chromium.ts';
import { servePage, type PageServer } from './rig/pageServer.ts';
import { remoteSubject } from './rig/remoteSubject.ts';

const ADDRESS = 'C0:FF:EE:00:00:01';
const OTHER_ADDRESS = 'C0:FF:EE:00:00:02';

let bluez: EmulatedBluez;
let browser: BenchBrowser;
let server: PageServer;

beforeAll(async () => {
  bluez = new EmulatedBluez();
  await bluez.start();
  server = await servePage(new URL('./pages/linkPage.ts', import.meta.url).pathname);
  browser = await launchChromium(bluez.address);
});

afterAll(async () => {
  await browser.close();
  await server.close();
  await bluez.stop();
});

linkContract('Web Bluetooth in Chromium', async () => {
  const peer = contractPeer(METER);
  const meter = bluez.addMeter(ADDRESS, peer.peer);
  const other = bluez.addMeter(OTHER_ADDRESS, contractPeer(OTHER_METER).peer);
  const bench = await browser.openPage(server.url);
  bench.choose = ADDRESS;
  return {
    subject: remoteSubject(bench.page),
    notify: async (ref, bytes) => peer.notify(ref, bytes),
    drop: async () => peer.drop(),
    setInRange: async (inRange) => peer.setInRange(inRange),
    isConnected: async () => meter.connected,
    written: async () => peer.written,
    async close() {
      await bench.page.close();
      bluez.removeMeter(meter);
      bluez.removeMeter(other);
      expect(bench.listed.has(OTHER_ADDRESS)).toBe(false);
    },
  };
});
