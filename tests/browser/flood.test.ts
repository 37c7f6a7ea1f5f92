import { afterAll, beforeAll, expect, test } from 'vitest';
import { uuid16 } from '../../drivers/core/uuid.ts';
import type { ReplayAir, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import type { SessionBench } from './pages/sessionPage.ts';
import { METER_ADDRESS, startLinkBench, type LinkBenchRig } from './rig/bench.ts';
import { eventually } from './rig/eventually.ts';

const PER_SECOND = 10_000;
const SECONDS = 6;
const GROWTH_BYTES = 2e6;
const REF = { service: uuid16(0x181a), characteristic: uuid16(0x2b18), index: 0 };
type Bench = { bench: SessionBench };

let rig: LinkBenchRig;
beforeAll(async () => {
  rig = await startLinkBench('sessionPage.ts');
});
afterAll(() => rig.close());

test('10,000 notifications a second neither block the page nor grow its memory', async () => {
  let air: ReplayAir | null = null;
  const peer: ReplayPeer = {
    id: 'flood',
    name: 'Flood',
    services: [REF.service],
    characteristics: [
      { ...REF, canRead: false, canNotify: true, canWrite: false, descriptors: [], descriptorValues: [] },
    ],
    inRange: () => true,
    connected: (opened) => {
      air = opened;
      return () => (air = null);
    },
    read: () => Uint8Array.of(),
  };
  const onAir = rig.bluez.addMeter(METER_ADDRESS, peer);
  const opened = await rig.browser.openPage(rig.server.url);
  opened.choose = METER_ADDRESS;
  const { page } = opened;
  const cdp = await rig.browser.context.newCDPSession(page);
  const heap = async (): Promise<number> => {
    await cdp.send('HeapProfiler.collectGarbage');
    return (await cdp.send('Runtime.getHeapUsage')).usedSize;
  };
  const state = () =>
    page.evaluate(() => {
      const { count, longestStallMs, sentences } = (window as unknown as Bench).bench;
      return { count, longestStallMs, sentences };
    });
  await page.evaluate(() => void ((window as unknown as Bench).bench.keep = false));
  await page.click('button');
  await eventually(async () => (await state()).sentences.at(-1)).toBe('connected: ');

  let sent = 0;
  async function flood(seconds: number): Promise<void> {
    const fromMs = performance.now();
    const before = sent;
    while (sent - before < seconds * PER_SECOND) {
      const due = before + Math.min(seconds, (performance.now() - fromMs) / 1000) * PER_SECOND;
      for (; sent < due; sent++) air!.notify(REF, Uint8Array.of(sent & 0xff, 0x03));
      await new Promise((resolve) => setTimeout(resolve, 5));
    }
    await eventually(async () => (await state()).count, 30_000).toBe(sent);
  }
  await flood(1);
  const base = await heap();
  await page.evaluate(() => void ((window as unknown as Bench).bench.longestStallMs = 0));
  const fromMs = performance.now();
  await flood(SECONDS);
  const tookS = (performance.now() - fromMs) / 1000;
  const { longestStallMs } = await state();
  const grown = (await heap()) - base;
  console.log(
    `${SECONDS * PER_SECOND} notifications in ${tookS.toFixed(1)} s, none lost; the page was kept waiting ` +
      `${longestStallMs.toFixed(0)} ms at most; heap ${(grown / 1e6).toFixed(2)} MB more`,
  );
  expect(longestStallMs).toBeLessThan(1000);
  expect(grown).toBeLessThan(GROWTH_BYTES);
  await page.close();
  rig.bluez.removeMeter(onAir);
}, 90_000);
