import { processClock } from '../../drivers/links/node/clock.ts';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import { linkContract } from './link.ts';
import { contractPeer, METER, OTHER_METER } from './linkMeters.ts';
import { subjectOf } from './linkSubject.ts';

linkContract('replay', async () => {
  const meter = contractPeer(METER);
  const link = createReplayLink([meter.peer, contractPeer(OTHER_METER).peer], processClock);
  return {
    subject: subjectOf(link, processClock),
    notify: async (ref, bytes) => meter.notify(ref, bytes),
    drop: async () => meter.drop(),
    setInRange: async (inRange) => meter.setInRange(inRange),
    isConnected: async () => meter.isConnected(),
    written: async () => meter.written,
    close: async () => undefined,
  };
});
