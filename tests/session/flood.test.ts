import v8 from 'node:v8';
import vm from 'node:vm';
import { describe, expect, it } from 'vitest';
import { encodeInteger } from '../../drivers/core/integers.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import type { Link, ListenOptions } from '../../drivers/core/link.ts';
import type { ReplayAir, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { BTHOME_SERVICE } from '../../drivers/meters/bthome/fields.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { startBroadcastSession } from '../../drivers/session/broadcast.ts';
import { startSession } from '../../drivers/session/session.ts';
import type { SessionHooks } from '../../drivers/session/types.ts';
import { advertisementOf } from '../helpers/broadcastCase.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { PackedMeter } from '../helpers/packedMeter.ts';

const PER_SECOND = 10_000;
const SECONDS = 60;
/** More than this may not be kept of half a minute, 300,000 notifications. */
const GROWTH_BYTES = 1e6;

v8.setFlagsFromString('--expose-gc');
const collectGarbage = vm.runInNewContext('gc') as () => void;

/** Counts and forgets, as a recorder that keeps up does. */
function counting() {
  const seen = { readings: 0, badFrames: 0 };
  const hooks: SessionHooks = {
    onState: () => undefined,
    onMeter: () => undefined,
    onReadings: (all) => void (seen.readings += all.length),
    onGap: () => undefined,
    onBadFrame: () => void seen.badFrames++,
  };
  return { seen, hooks };
}

/** Runs a minute of the flood, and says how long it took and what it left on the heap. */
async function flood(clock: ManualClock, send: () => void): Promise<{ wallMs: number; grownBytes: number }> {
  const heap = (): number => {
    collectGarbage();
    return process.memoryUsage().heapUsed;
  };
  const fromMs = performance.now();
  let base = 0;
  for (let second = 0; second < SECONDS; second++) {
    if (second === SECONDS / 2) base = heap();
    for (let tenth = 0; tenth < 10; tenth++) {
      for (let i = 0; i < PER_SECOND / 10; i++) send();
      await clock.advance(100);
    }
  }
  return { wallMs: performance.now() - fromMs, grownBytes: heap() - base };
}

function expectCalm(what: string, { wallMs, grownBytes }: { wallMs: number; grownBytes: number }): void {
  console.log(
    `${what}: ${((1000 * PER_SECOND * SECONDS) / wallMs).toFixed(0)} notifications a second, heap ${(grownBytes / 1e6).toFixed(1)} MB more after 30 s`,
  );
  expect(wallMs).toBeLessThan(SECONDS * 1000); // faster than they come
  expect(grownBytes).toBeLessThan(GROWTH_BYTES);
}

describe('10,000 notifications a second through a session', () => {
  it('of single values, one in ten of them broken', async () => {
    const clock = new ManualClock();
    const ref = { service: uuid16(0x181a), characteristic: uuid16(0x2b18), index: 0 };
    let air: ReplayAir | null = null;
    const peer: ReplayPeer = {
      id: 'm',
      name: 'Flood',
      services: [],
      characteristics: [
        { ...ref, canRead: false, canNotify: true, canWrite: false, descriptors: [], descriptorValues: [] },
      ],
      inRange: () => true,
      connected: (opened) => {
        air = opened;
        return () => undefined;
      },
      read: () => Uint8Array.of(),
    };
    const { seen, hooks } = counting();
    const link = createReplayLink([peer], clock);
    const session = startSession({ link, drivers: DRIVERS, meterId: 'm', clock, hooks, random: () => 0 });
    await clock.advance(10);
    let n = 0;
    const result = await flood(clock, () => {
      n++;
      air!.notify(ref, n % 10 === 0 ? Uint8Array.of(1) : Uint8Array.of(n & 0xff, 0x03));
    });
    expectCalm('single values', result);
    expect(seen).toEqual({ readings: 0.9 * n, badFrames: 0.1 * n });
    await session.stop();
  }, 60_000);

  it('of packets with two samples each', async () => {
    const clock = new ManualClock();
    const meter = new PackedMeter({ clock, perPacket: 2 });
    const { seen, hooks } = counting();
    const link = createReplayLink([meter.peer], clock);
    const meterId = meter.peer.id;
    const session = startSession({ link, drivers: DRIVERS, meterId, clock, hooks, random: () => 0 });
    await clock.advance(10);
    let sent = 0;
    const result = await flood(clock, () => {
      meter.sendNext();
      sent++;
    });
    expectCalm('packets', result);
    expect(seen).toEqual({ readings: 2 * sent, badFrames: 0 });
    await session.stop();
  }, 60_000);

  it('of broadcasts, most of them repetitions or of other meters', async () => {
    const clock = new ManualClock();
    let options: ListenOptions | null = null;
    const link: Link = {
      kind: 'replay',
      find: () => Promise.resolve(),
      connect: () => Promise.reject(new Error('not here')),
      listen: (given) => {
        options = given;
        return new Promise((resolve) => given.signal.addEventListener('abort', resolve));
      },
    };
    const { seen, hooks } = counting();
    const [own, other] = ['c0:de:00:00:00:01', 'c0:de:00:00:00:02'];
    const session = startBroadcastSession({
      link,
      drivers: DRIVERS,
      meterId: own,
      clock,
      hooks,
      random: () => 0,
    });
    await clock.advance(10);
    let n = 0;
    const result = await flood(clock, () => {
      n++;
      const id = Math.floor(n / 10) & 0xff;
      const bytes = Uint8Array.of(0x40, 0x00, id, 0x0c, ...encodeInteger(12_000 + (n % 700), 2, false));
      options!.onAdvertisement(advertisementOf(n % 2 ? own : other, BTHOME_SERVICE, bytes, clock.nowMs()));
    });
    expectCalm('broadcasts', result);
    expect(seen.readings).toBeGreaterThanOrEqual(n / 10 - 1);
    expect(seen.readings).toBeLessThanOrEqual(n / 10 + 1);
    await session.stop();
  }, 60_000);
});
