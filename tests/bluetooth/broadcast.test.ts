import { describe, expect, test } from 'vitest';
import { createAbort } from '../../drivers/core/abort.ts';
import type { Advertisement } from '../../drivers/core/link.ts';
import { textOf } from '../../drivers/core/reading.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import { processClock } from '../../drivers/links/node/clock.ts';
import { decryptCcm } from '../../drivers/links/node/decrypt.ts';
import type { ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { BTHOME_SERVICE } from '../../drivers/meters/bthome/fields.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { startBroadcastSession } from '../../drivers/session/broadcast.ts';
import type { GapReason } from '../../drivers/session/types.ts';
import { fromHex } from '../helpers/hex.ts';
import { bench, failure, meter, STREAM, until, type Bench } from './fixture.ts';

const SERVICES = [BTHOME_SERVICE];

/** Listens in the background; `heard` grows. */
function listening({ link }: Bench, services: readonly string[] = SERVICES) {
  const heard: Advertisement[] = [];
  const { signal, abort } = createAbort();
  const ended = link.listen({ services, signal, onAdvertisement: (a) => heard.push(a) });
  return { heard, ended, abort };
}

/** A whole advertisement as it is on the air. */
function onAir(b: Bench, address: string, hex: string): void {
  const advert = { address, rssi: -60, data: Buffer.from(fromHex(hex)), response: Buffer.alloc(0) };
  b.rig.adapter.heard({ ...advert, peripheral: null });
}

/** Broadcasts 12.000 V and one millivolt more with each packet, twenty a second. */
function beacon(): ReplayPeer {
  return {
    id: 'beacon',
    name: 'Beacon',
    services: [],
    characteristics: [],
    inRange: () => true,
    connected: () => () => undefined,
    read: () => Uint8Array.of(),
    broadcast(nowMs) {
      const packet = Math.floor(nowMs / 50);
      const millivolts = 12_000 + (packet % 1000);
      const bytes = Uint8Array.of(0x40, 0x00, packet & 0xff, 0x0c, millivolts & 0xff, millivolts >> 8);
      return [{ uuid: BTHOME_SERVICE, bytes }];
    },
  };
}

describe('advertisements through the radio library', () => {
  test('the published one is heard whole, with the address that decrypting needs', async () => {
    const b = await bench([]);
    const { heard, ended, abort } = listening(b);
    await until(() => b.rig.adapter.isScanning);
    // bthome.io, format description: flags, name "DIY-sensor", 25.00 degrees and 50.55 % humidity.
    const whole = '0201060b094449592d73656e736f720a16d2fc4002c40903bf13';
    onAir(b, '54:48:e6:8f:80:a5', whole);
    await until(() => heard.length > 0);
    expect(heard[0]).toMatchObject({
      id: '54:48:e6:8f:80:a5',
      address: '54:48:e6:8f:80:a5',
      name: 'DIY-sensor',
      rssi: -60,
      serviceData: [{ uuid: BTHOME_SERVICE, bytes: fromHex('4002c40903bf13') }],
    });
    // And the published encrypted one, through the session.
    const texts: string[] = [];
    const session = startBroadcastSession({
      link: b.link,
      drivers: DRIVERS,
      meterId: '54:48:e6:8f:80:a5',
      clock: processClock,
      random: () => 0.5,
      secrets: { key: fromHex('231d39c1d7cc1ab1aee224cd096db932'), decrypt: decryptCcm },
      hooks: {
        onState: () => undefined,
        onMeter: () => undefined,
        onReadings: (all) => texts.push(...all.map((r) => textOf(r.reading.counts, r.reading.scale))),
        onGap: () => undefined,
        onBadFrame: (sentence) => texts.push(sentence),
      },
    });
    onAir(b, '54:48:e6:8f:80:a5', '0201061216d2fc41e445f3c9962b332211006c7c4519');
    await until(() => texts.length > 0);
    expect(texts).toEqual(['25.06']);
    onAir(b, '54:48:e6:8f:80:a5', whole);
    await until(() => texts.length > 1);
    expect(texts[1]).toBe('The meter has a key, but this packet is not encrypted.');
    await session.stop();
    abort();
    await ended;
  });

  test('are told packet by packet, each as it was, while the scan shows meters too', async () => {
    const b = await bench([beacon(), meter('a')]);
    const { heard, ended, abort } = listening(b);
    const seen = await b.scan((all) => all.length >= 4);
    expect(new Set(seen.map((m) => m.name))).toEqual(new Set(['Beacon', 'Meter a']));
    expect(seen.find((m) => m.name === 'Beacon')!.services).toEqual(SERVICES);
    await until(() => new Set(heard.map((a) => a.serviceData[0]!.bytes[2])).size >= 20);
    expect(heard.every((a) => a.name === 'Beacon')).toBe(true);
    abort();
    await ended;
    await until(() => !b.rig.adapter.isScanning);
  });

  test('two listeners hear each its own service; one ends, the other goes on', async () => {
    const b = await bench([beacon()]);
    const own = listening(b);
    const other = listening(b, [uuid16(0x180f)]);
    await until(() => own.heard.length > 3);
    other.abort();
    await other.ended;
    const count = own.heard.length;
    await until(() => own.heard.length > count);
    expect(other.heard).toEqual([]);
    own.abort();
    await own.ended;
  });

  test('cannot be heard with an adapter that is off, and it is said so', async () => {
    const b = await bench([beacon()], {}, { state: { up: false } });
    expect(await failure(listening(b).ended)).toBe('no-bluetooth');
  });
});

test('a session with a beacon beside a connected meter outlives the death of the radio process', async () => {
  const b = await bench([beacon(), meter('a')]);
  const readings: { counts: number; atMs: number }[] = [];
  const gaps: GapReason[] = [];
  const session = startBroadcastSession({
    link: b.link,
    drivers: DRIVERS,
    meterId: b.rig.peripheral('beacon').address,
    clock: processClock,
    random: () => 0.5,
    silentAfterMs: 1500,
    hooks: {
      onState: () => undefined,
      onMeter: ({ name, driverId }) => expect([name, driverId]).toEqual(['Beacon', 'bthome']),
      onReadings: (all) => all.forEach((r) => readings.push({ counts: r.reading.counts, atMs: r.atMs })),
      onGap: ({ reason }) => gaps.push(reason),
      onBadFrame: (sentence) => expect.unreachable(sentence),
    },
  });
  const more = async (): Promise<void> => {
    const from = readings.length;
    await until(() => readings.length >= from + 20);
  };
  await more();
  const connection = await b.connect('a');
  const got: number[] = [];
  await connection.subscribe(STREAM, (bytes) => got.push(bytes[0]!));
  b.rig.peripheral('a').notify(STREAM, Uint8Array.of(7));
  await more();
  expect(got).toEqual([7]);
  b.rig.crashProgram();
  await more();
  b.rig.peripheral('beacon').outOfRange(true);
  const pid = b.rig.programPid();
  await new Promise((resolve) => setTimeout(resolve, 2500));
  b.rig.peripheral('beacon').outOfRange(false);
  await more();
  expect(b.rig.programPid()).toBe(pid);
  await session.stop();
  expect(gaps.at(-1)).toBe('silent');
  // Each packet once: from one reading to the next the voltage moves by the time that has passed.
  const steps = readings.slice(1).map((r, i) => (r.counts - readings[i]!.counts + 1000) % 1000);
  expect(Math.min(...steps)).toBeGreaterThan(0);
});
