import { afterAll, beforeAll, expect, test } from 'vitest';
import { processClock } from '../../drivers/links/node/clock.ts';
import { judgePacked } from '../helpers/packedJudge.ts';
import { PackedMeter } from '../helpers/packedMeter.ts';
import type { SessionBench } from './pages/sessionPage.ts';
import { METER_ADDRESS, startLinkBench, type LinkBenchRig } from './rig/bench.ts';
import { eventually } from './rig/eventually.ts';

const PER_PACKET = 50;
type Bench = { bench: SessionBench };

let rig: LinkBenchRig;
beforeAll(async () => {
  rig = await startLinkBench('sessionPage.ts');
});
afterAll(() => rig.close());

test('a home-made meter of 1000 samples a second in a page: none lost, each at its time', async () => {
  const meter = new PackedMeter({ clock: processClock, perPacket: PER_PACKET });
  const onAir = rig.bluez.addMeter(METER_ADDRESS, meter.peer);
  const opened = await rig.browser.openPage(rig.server.url);
  opened.choose = METER_ADDRESS;
  const { page } = opened;
  const heard = () => page.evaluate(() => (window as unknown as Bench).bench.readings.length / 2);
  await page.click('button');
  const timer = setInterval(() => meter.sendDue(), 2);
  await eventually(heard, 20_000).toBeGreaterThan(4000);
  meter.lose(3);
  await eventually(heard, 20_000).toBeGreaterThan(8000);
  clearInterval(timer);

  // The page's clock on ours: the quickest of some questions bounds the answer to half its own time.
  let offsetMs = 0;
  let quickestMs = Infinity;
  for (let i = 0; i < 50; i++) {
    const fromMs = processClock.nowMs();
    const pageMs = await page.evaluate(() => (window as unknown as Bench).bench.nowMs());
    const tookMs = processClock.nowMs() - fromMs;
    if (tookMs >= quickestMs) continue;
    quickestMs = tookMs;
    offsetMs = fromMs + tookMs / 2 - pageMs;
  }
  await page.evaluate(() => (window as unknown as Bench).bench.stop());
  const { readings, gaps, driverId, sentences } = await page.evaluate(() => {
    const { bench } = window as unknown as Bench;
    return { ...bench, nowMs: null, stop: null };
  });
  expect(driverId).toBe('packed-samples');
  expect(sentences).toEqual(['connecting: Connecting.', 'connected: ', 'stopped: Stopped.']);
  const placed = Array.from({ length: readings.length / 2 }, (_, i) => ({
    counts: readings[2 * i]!,
    atMs: readings[2 * i + 1]! + offsetMs,
  }));
  const moved = gaps.map((g) => ({ ...g, startMs: g.startMs + offsetMs, endMs: g.endMs + offsetMs }));
  judgePacked('Web Bluetooth in Chromium', meter, { readings: placed, gaps: moved }, 3 * PER_PACKET, 10);
  await page.close();
  rig.bluez.removeMeter(onAir);
}, 60_000);
