import { createCipheriv } from 'node:crypto';
import { afterEach, describe, expect, it } from 'vitest';
import { encodeInteger } from '../../drivers/core/integers.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import { decryptCcm } from '../../drivers/links/node/decrypt.ts';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import type { ReplayCharacteristic, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { BTHOME_SERVICE } from '../../drivers/meters/bthome/fields.ts';
import { encodePacket, nonceOf } from '../../drivers/meters/bthome/frame.ts';
import { createBench, RADIO_READY, type Bench } from '../helpers/hubBench.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { PackedMeter } from '../helpers/packedMeter.ts';

const START = { caseId: null, kind: 'live-watch', title: 'Test', zone: null } as const;
const ADDRESS = '54:48:e6:8f:80:a5';
const KEY = `server:${ADDRESS}`;
const SECRET = Uint8Array.from({ length: 16 }, (_, i) => i);

/** Says a voltage, and a current from a packet on, with a packet id that moves on at each `say`. */
class Beacon {
  near = true;
  private bytes: Uint8Array = Uint8Array.of(0x40);
  private id = 0;
  readonly peer: ReplayPeer = {
    id: ADDRESS,
    name: 'Beacon',
    services: [],
    characteristics: [],
    inRange: () => this.near,
    connected: () => () => undefined,
    read: () => Uint8Array.of(),
    broadcast: () => [{ uuid: BTHOME_SERVICE, bytes: this.bytes }],
  };

  say(millivolts: number, milliamperes?: number, cellPercent?: number): void {
    const objects = Uint8Array.from([
      0x00,
      this.id++ & 0xff,
      ...(cellPercent === undefined ? [] : [0x01, cellPercent]),
      0x0c,
      ...encodeInteger(millivolts, 2, false),
      ...(milliamperes === undefined ? [] : [0x5d, ...encodeInteger(milliamperes, 2, true)]),
    ]);
    this.bytes = encodePacket({ encrypted: false, info: 0x40, objects });
  }

  saySealed(millivolts: number): void {
    const [info, counter] = [0x41, this.id++];
    const cipher = createCipheriv('aes-128-ccm', SECRET, nonceOf(ADDRESS, info, counter), {
      authTagLength: 4,
    });
    const objects = Uint8Array.from([0x0c, ...encodeInteger(millivolts, 2, false)]);
    const ciphertext = new Uint8Array(cipher.update(objects));
    cipher.final();
    this.bytes = encodePacket({ encrypted: true, info, ciphertext, counter, mic: cipher.getAuthTag() });
  }
}

let clock: ManualClock;
let bench: Bench | null = null;

function setUp(peer: ReplayPeer, hub: Parameters<typeof createBench>[0]['hub'] = {}): Bench {
  clock = new ManualClock();
  const link = createReplayLink([peer], clock);
  bench = createBench({ clock, hub: { radio: { link, status: () => RADIO_READY }, ...hub } });
  return bench;
}

afterEach(async () => {
  await bench?.close();
  bench = null;
});

const meterNow = () => bench!.hub.meters().find((m) => m.key === KEY);

describe('a meter that only broadcasts', () => {
  async function found(beacon: Beacon): Promise<Bench> {
    beacon.say(12630);
    const b = setUp(beacon.peer);
    const scan = b.hub.scan(1);
    await clock.advance(1000);
    await scan;
    expect(meterNow()).toMatchObject({
      name: 'Beacon',
      driver: 'BTHome broadcasts',
      state: 'seen',
      sentence: 'Broadcasts readings that Nightdraw knows; it needs no connection.',
    });
    b.hub.connect(KEY);
    await clock.advance(200);
    expect(meterNow()).toMatchObject({
      state: 'connected',
      channels: [{ key: '0c.0', quantity: 'voltage' }],
    });
    return b;
  }

  it('is found by a scan and recorded; a channel that comes later is added, silence is a gap', async () => {
    const beacon = new Beacon();
    const { hub, store } = await found(beacon);
    const { id } = hub.startRecording({ ...START, meters: [KEY] });
    for (let i = 0; i < 10; i++) {
      beacon.say(12630 - i);
      await clock.advance(1000);
    }
    beacon.say(12600, -25);
    await clock.advance(1000);
    beacon.near = false;
    await clock.advance(20_000);
    expect(meterNow()).toMatchObject({ state: 'reconnecting' });
    beacon.near = true;
    beacon.say(12599, -24);
    await clock.advance(1000);
    hub.stopRecording(id);

    const { channels } = store.getRecording(id);
    expect(channels.map((c) => [c.key, c.quantity, c.samples])).toEqual([
      ['0c.0', 'voltage', 12],
      ['5d.0', 'current', 2],
    ]);
    const gaps = store.listGaps(id).filter((g) => g.channelId === channels[0]!.id);
    expect(gaps).toHaveLength(1);
    expect(gaps[0]).toMatchObject({ reason: 'silent' });
    expect(gaps[0]!.endMs - gaps[0]!.startMs).toBeCloseTo(21_000, -3);
  });

  it('is found out where it is named without a scan', async () => {
    const beacon = new Beacon();
    beacon.say(12630);
    const { hub } = setUp(beacon.peer);
    hub.connect(KEY);
    await clock.advance(500);
    expect(meterNow()).toMatchObject({ state: 'connected', driver: 'BTHome broadcasts', name: 'Beacon' });
    await hub.disconnect(KEY);
    expect(meterNow()).toMatchObject({ state: 'seen' });
    beacon.say(12000);
    await clock.advance(5000);
    expect(meterNow()).toMatchObject({ state: 'seen' });
  });

  it('is listened to again after a restart, by the driver that the recording names', async () => {
    const beacon = new Beacon();
    const before = await found(beacon);
    const { id } = before.hub.startRecording({ ...START, meters: [KEY] });
    for (let i = 0; i < 5; i++) {
      beacon.say(12630);
      await clock.advance(1000);
    }
    await before.hub.close();
    const after = before.restart(clock);
    beacon.say(12500);
    after.hub.resume();
    await clock.advance(1000);
    expect(after.hub.meters().find((m) => m.key === KEY)).toMatchObject({ state: 'connected' });
    after.hub.stopRecording(id);
    expect(after.store.getRecording(id).channels[0]!.samples).toBe(6);
    await after.hub.close();
    after.store.close();
  });

  it('notes the charge of its own cell, and again only when that is news', async () => {
    const beacon = new Beacon();
    beacon.say(12630, undefined, 90);
    const { hub, store } = setUp(beacon.peer);
    hub.connect(KEY);
    await clock.advance(500);
    expect(meterNow()!.sentence).toBe('Its own cell at 90 %.');
    const { id } = hub.startRecording({ ...START, meters: [KEY] });
    for (const percent of [90, 89, 86, 85, 84]) {
      beacon.say(12630, undefined, percent);
      await clock.advance(1000);
    }
    hub.stopRecording(id);
    expect(
      store
        .listEvents(id)
        .filter((e) => e.kind === 'note')
        .map((e) => e.text),
    ).toEqual(['Beacon: Its own cell at 90 %.', 'Beacon: Its own cell at 85 %.']);
  });

  it('that encrypts says that its key is missing, and is read with it', async () => {
    const beacon = new Beacon();
    beacon.saySealed(12630);
    let { hub } = setUp(beacon.peer);
    hub.connect(KEY);
    await clock.advance(500);
    expect(meterNow()).toMatchObject({
      state: 'connecting',
      sentence: 'The meter encrypts what it broadcasts, and its bind key is not known.',
    });
    await bench!.close();

    const secrets = { key: SECRET, decrypt: decryptCcm };
    ({ hub } = setUp(beacon.peer, {
      bindKeys: { secretsOf: (id) => (id === ADDRESS ? secrets : null), list: () => [], set: () => {} },
    }));
    hub.connect(KEY);
    await clock.advance(500);
    expect(hub.lastReadings()).toMatchObject([{ meterKey: KEY, channels: [{ value: [12.63] }] }]);
  });
});

describe('a connected meter', () => {
  const text = (short: number, value: string): ReplayCharacteristic & { value: Uint8Array } => ({
    service: uuid16(0x180a),
    characteristic: uuid16(short),
    index: 0,
    canRead: true,
    canNotify: false,
    canWrite: false,
    descriptors: [],
    descriptorValues: [],
    value: Uint8Array.from(Buffer.from(value)),
  });

  it('is noted in the recording with what it says of itself', async () => {
    const facts = [
      text(0x2a29, 'Bench works'),
      text(0x2a24, 'BW-1'),
      text(0x2a25, '17'),
      text(0x2a26, '1.4'),
    ];
    const cell = { ...text(0x2a19, ''), service: uuid16(0x180f), value: Uint8Array.of(87) };
    const inner = new PackedMeter({ clock: new ManualClock(), perPacket: 1 }).peer;
    const peer: ReplayPeer = {
      ...inner,
      id: ADDRESS,
      characteristics: [...inner.characteristics, ...facts, cell],
      read: (ref) => [...facts, cell].find((f) => f.characteristic === ref.characteristic)!.value,
    };
    const { hub, store } = setUp(peer);
    hub.connect(KEY);
    await clock.advance(100);
    const sentence = 'Made by Bench works, model BW-1, serial number 17, firmware 1.4, its own cell at 87 %.';
    expect(meterNow()).toMatchObject({ state: 'connected', sentence });
    const { id } = hub.startRecording({ ...START, meters: [KEY] });
    await clock.advance(1000);
    hub.stopRecording(id);
    const notes = store.listEvents(id).filter((e) => e.kind === 'note');
    expect(notes.map((e) => e.text)).toEqual([`Shunt: ${sentence}`]);
  });

  it('that loses packets of one channel has a gap in that channel', async () => {
    clock = new ManualClock();
    const meter = new PackedMeter({ clock, perPacket: 50 });
    const voltage = { ...meter.peer.characteristics[0]!, service: uuid16(0x181a), descriptors: [] };
    const peer: ReplayPeer = {
      ...meter.peer,
      characteristics: [
        ...meter.peer.characteristics,
        { ...voltage, characteristic: uuid16(0x2b18), descriptorValues: [] },
      ],
    };
    const link = createReplayLink([peer], clock);
    bench = createBench({ clock, hub: { radio: { link, status: () => RADIO_READY } } });
    const { hub, store } = bench;
    const { key } = hub.connect(`server:${meter.peer.id}`);
    const run = async (ms: number): Promise<void> => {
      for (let i = 0; i < ms / 10; i++) {
        await clock.advance(10);
        meter.sendDue();
      }
    };
    await run(500);
    const { id } = hub.startRecording({ ...START, meters: [key] });
    await run(1000);
    meter.lose(2);
    await run(1000);
    hub.stopRecording(id);
    const { channels } = store.getRecording(id);
    expect(channels.map((c) => c.quantity).sort()).toEqual(['current', 'voltage']);
    const channel = channels.find((c) => c.quantity === 'current');
    expect(channel!.samples).toBeGreaterThan(1800);
    expect(store.listGaps(id)).toMatchObject([{ channelId: channel!.id, reason: 'packet-lost' }]);
    const [gap] = store.listGaps(id);
    expect(gap!.endMs - gap!.startMs).toBeCloseTo(101, 1);
  });
});
