import { expect } from 'vitest';
import { processClock } from '../../drivers/links/node/clock.ts';
import { createNodeLink } from '../../drivers/links/node/link.ts';
import { startRig } from '../bluetooth/rig.ts';
import { linkContract } from './link.ts';
import { beaconPeer, contractPeer, METER, OTHER_METER } from './linkMeters.ts';
import { subjectOf } from './linkSubject.ts';

linkContract('noble on a virtual adapter', async () => {
  const meter = contractPeer(METER);
  const beacon = beaconPeer();
  const rig = await startRig({ peripherals: [meter, contractPeer(OTHER_METER), beacon] });
  const link = createNodeLink({ childEnv: rig.env });
  return {
    subject: subjectOf(link, processClock),
    notify: async (ref, bytes) => meter.notify(ref, bytes),
    drop: async () => meter.drop(),
    setInRange: async (inRange) => meter.setInRange(inRange),
    isConnected: async () => meter.isConnected(),
    written: async () => meter.written,
    beacon,
    async close() {
      await link.close();
      await rig.close();
      expect(rig.adapter.violations).toEqual([]);
    },
  };
});
