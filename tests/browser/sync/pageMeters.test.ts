import { expect, it } from 'vitest';
import { uuid16 } from '../../../drivers/core/uuid.ts';
import type { FindOptions } from '../../../drivers/core/link.ts';
import { createReplayLink } from '../../../drivers/links/replay/link.ts';
import { DRIVERS } from '../../../drivers/meters/registry.ts';
import { PageMeters } from '../../../web/sync/pageMeters.ts';
import { TaughtHere } from '../../../web/sync/taughtHere.ts';
import { FakeMeter } from '../../helpers/fakeMeter.ts';
import { ManualClock } from '../../helpers/manualClock.ts';
import { UNKNOWN_METER_TAUGHT, UNKNOWN_SERVICE, UnknownMeter } from '../../helpers/unknownMeter.ts';

const text = (words: string) => Uint8Array.from(words, (c) => c.charCodeAt(0));

/** A page's meters over one peripheral that a chooser would offer. */
function page(peer: FakeMeter | UnknownMeter, taught: TaughtHere) {
  const clock = new ManualClock();
  const link = createReplayLink([peer], clock);
  const asked: FindOptions[] = [];
  const told: string[] = [];
  const values: number[] = [];
  const frames: string[] = [];
  const meters = new PageMeters({
    link: {
      ...link,
      find: (options) => {
        asked.push(options);
        options.onSeen({ id: peer.id, name: peer.name, rssi: null, services: [] });
        return Promise.resolve();
      },
    },
    drivers: () => taught.drivers,
    vendorServices: () => taught.services,
    clock,
    random: () => 0,
    keyFor: ({ id }) => `page:${id}`,
    claim: () => Promise.resolve(() => undefined),
    hooks: {
      onChange: () => undefined,
      onMeter: () => undefined,
      onGone: () => undefined,
      onReadings: (_, readings) => values.push(...readings.map((r) => r.reading.counts)),
      onGap: () => undefined,
      onLink: () => undefined,
      onBadFrame: () => undefined,
      onFrame: (_key, _name, frame) => frames.push(frame.hex),
      onDetails: (_, said) => told.push(said),
    },
  });
  return { clock, meters, asked, told, values, frames };
}

it('asks to see Device Information, Battery and the services that a person named, and tells what the meter says', async () => {
  const peer = new FakeMeter('one');
  const serial = {
    service: uuid16(0x180a),
    characteristic: uuid16(0x2a25),
    index: 0,
    canRead: true,
    canNotify: false,
    canWrite: false,
    descriptors: [],
    descriptorValues: [],
  };
  peer.characteristics = [...peer.characteristics, serial];
  const other = peer.read.bind(peer);
  peer.read = (...[ref]: unknown[]) =>
    (ref as typeof serial).characteristic === serial.characteristic ? text('4711') : other();
  const taught = new TaughtHere(DRIVERS);
  taught.set([], ['ffe0']);
  const { clock, meters, asked, told } = page(peer, taught);
  const connecting = meters.connect();
  await clock.advance(50);
  expect(await connecting).toMatchObject({ ok: true });
  await clock.advance(50);
  expect(asked[0]!.alsoUse).toEqual(expect.arrayContaining([uuid16(0x180a), uuid16(0x180f), uuid16(0xffe0)]));
  expect(told).toEqual(['Meter one: Serial number 4711.']);
  expect(meters.list()[0]).toMatchObject({ details: { serial: '4711', firmware: null } });
  await meters.disconnect('page:one');
});

it('reads a taught meter like any other, and names its service to the browser', async () => {
  const peer = new UnknownMeter('two');
  const taught = new TaughtHere(DRIVERS);
  taught.set([{ id: 'abcd', addedAt: '2026-01-01T00:00:00.000Z', description: UNKNOWN_METER_TAUGHT }], []);
  const { clock, meters, asked, values } = page(peer, taught);
  const connecting = meters.connect();
  await clock.advance(50);
  expect(await connecting).toMatchObject({ ok: true });
  expect(asked[0]!.alsoUse).toContain(UNKNOWN_SERVICE);
  peer.send(12_481);
  await clock.advance(10);
  expect(values).toEqual([12_481]);
  expect(meters.list()[0]).toMatchObject({ driver: 'Taught millivolts', channels: [{ step: 0.001 }] });
  await meters.disconnect('page:two');
});

it('listens to a meter that nothing reads, hands on what it sends, and reads it once it is taught', async () => {
  const peer = new UnknownMeter('three');
  const taught = new TaughtHere(DRIVERS);
  const { clock, meters, values, frames } = page(peer, taught);
  const listening = meters.listen();
  await clock.advance(50);
  expect(await listening).toMatchObject({ ok: true, key: 'page:three' });
  peer.send(-304);
  await clock.advance(10);
  expect(frames).toEqual(['aafed0']);
  expect(values).toEqual([]);
  // A meter that is only listened to may be silent for as long as it likes.
  await clock.advance(60_000);
  expect(meters.list()[0]).toMatchObject({ state: 'connected', channels: [] });

  taught.set([{ id: 'abcd', addedAt: '2026-01-01T00:00:00.000Z', description: UNKNOWN_METER_TAUGHT }], []);
  const reading = meters.readOn('page:three');
  await clock.advance(50);
  expect(await reading).toMatchObject({ ok: true });
  peer.send(12_481);
  await clock.advance(10);
  expect(values).toEqual([12_481]);
  expect(frames).toHaveLength(1);
  await meters.disconnect('page:three');
  expect(await meters.readOn('page:three')).toMatchObject({ ok: false });
});
