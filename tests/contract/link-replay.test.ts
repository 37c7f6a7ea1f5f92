import { processClock } from '../../drivers/links/node/clock.ts';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import { linkContract } from './link.ts';
import { beaconPeer, contractPeer, METER, OTHER_METER } from './linkMeters.ts';
import { subjectOf } from './linkSubject.ts';

linkContract('replay', async () => {
  const meter = contractPeer(METER);
  const beacon = beaconPeer();
  const peers = [meter.peer, contractPeer(OTHER_METER).peer, beacon.peer];
  const link = createReplayLink(peers, processClock);
  return {
    subject: subjectOf(link, processClock),
    notify: async (ref, bytes) => meter.notify(ref, bytes),
    drop: async () => meter.drop(),
    setInRange: async (inRange) => meter.setInRange(inRange),
    isConnected: async () => meter.isConnected(),
    written: async () => meter.written,
    beacon,
    close: async () => undefined,
  };
});
