import { processClock } from '../../drivers/links/node/clock.ts';
import { createNodeLink } from '../../drivers/links/node/link.ts';
import { startRig } from '../bluetooth/rig.ts';
import { PackedMeter } from '../helpers/packedMeter.ts';
import { hardwareLinkContract } from './linkHardware.ts';
import { subjectOf } from './linkSubject.ts';

hardwareLinkContract('a home-made meter on a virtual adapter', async () => {
  const meter = new PackedMeter({ clock: processClock, perPacket: 50 });
  const rig = await startRig({ peripherals: [{ peer: meter.peer }] });
  const link = createNodeLink({ childEnv: rig.env });
  const timer = setInterval(() => meter.sendDue(), 5);
  return {
    subject: subjectOf(link, processClock),
    id: rig.peripheral('packed').address,
    async close() {
      clearInterval(timer);
      await link.close();
      await rig.close();
    },
  };
});

// With a real adapter and a real meter: NIGHTDRAW_METER=c0:de:... npm test (the id that "nightdraw meters" prints).
const id = process.env['NIGHTDRAW_METER'];
if (id) {
  hardwareLinkContract(`${id} on this computer's adapter`, async () => {
    const link = createNodeLink();
    return { subject: subjectOf(link, processClock), id, close: () => link.close() };
  });
}
