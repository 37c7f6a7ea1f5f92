import { afterAll, beforeAll, expect } from 'vitest';
import { linkContract } from '../contract/link.ts';
import { contractPeer, METER, OTHER_METER } from '../contract/linkMeters.ts';
import { METER_ADDRESS, OTHER_ADDRESS, startLinkBench, type LinkBenchRig } from './rig/bench.ts';
import { remoteSubject } from './rig/remoteSubject.ts';

let rig: LinkBenchRig;
beforeAll(async () => {
  rig = await startLinkBench();
});
afterAll(() => rig.close());

linkContract('Web Bluetooth in Chromium', async () => {
  const peer = contractPeer(METER);
  const meter = rig.bluez.addMeter(METER_ADDRESS, peer.peer);
  const other = rig.bluez.addMeter(OTHER_ADDRESS, contractPeer(OTHER_METER).peer);
  const bench = await rig.browser.openPage(rig.server.url);
  bench.choose = METER_ADDRESS;
  return {
    subject: remoteSubject(bench.page),
    notify: async (ref, bytes) => peer.notify(ref, bytes),
    drop: async () => peer.drop(),
    setInRange: async (inRange) => peer.setInRange(inRange),
    isConnected: async () => meter.connected,
    written: async () => peer.written,
    beacon: {
      cannotListen:
        'Browsers show advertisements (watchAdvertisements, requestLEScan) only behind flags that a person must set.',
    },
    async close() {
      await bench.page.close();
      rig.bluez.removeMeter(meter);
      rig.bluez.removeMeter(other);
      expect(bench.listed.has(OTHER_ADDRESS)).toBe(false);
    },
  };
});
