import { expect, test } from 'vitest';
import { processClock } from '../../drivers/links/node/clock.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { startSession } from '../../drivers/session/session.ts';
import type { SessionHooks } from '../../drivers/session/types.ts';
import { judgePacked } from '../helpers/packedJudge.ts';
import { PackedMeter } from '../helpers/packedMeter.ts';
import { bench, until } from './fixture.ts';

const PER_PACKET = 50;

test('a home-made meter of 1000 samples a second: none lost, each at its time, a lost packet is a gap', async () => {
  const meter = new PackedMeter({ clock: processClock, perPacket: PER_PACKET });
  const b = await bench([meter.peer]);
  const readings: { counts: number; atMs: number }[] = [];
  const gaps: Parameters<SessionHooks['onGap']>[0][] = [];
  const session = startSession({
    link: b.link,
    drivers: DRIVERS,
    meterId: b.rig.peripheral('packed').address,
    clock: processClock,
    random: () => 0.5,
    hooks: {
      onState: () => undefined,
      onMeter: ({ driverId, channels }) => {
        expect(driverId).toBe('packed-samples');
        expect(channels).toMatchObject([{ key: meter.channelKey, quantity: 'current', step: 0.001 }]);
      },
      onReadings: (all) => all.forEach((r) => readings.push({ counts: r.reading.counts, atMs: r.atMs })),
      onGap: (gap) => gaps.push(gap),
      onBadFrame: (sentence) => expect.unreachable(sentence),
    },
  });
  const timer = setInterval(() => meter.sendDue(), 2);
  await until(() => readings.length >= 4000, 15_000);
  meter.lose(3);
  await until(() => readings.length >= 8000, 15_000);
  clearInterval(timer);
  await session.stop();
  judgePacked('noble on a virtual adapter', meter, { readings, gaps }, 3 * PER_PACKET, 10);
}, 40_000);
