import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { CharacteristicRef } from '../../drivers/core/link.ts';
import {
  AMPERE_FORMAT,
  BROADCAST_SERVICE,
  COMMAND,
  FIRST_ANALOG,
  FORMAT,
  INFO,
  METER,
  METER_SERVICE,
  SECOND_ANALOG,
  STREAM,
  VOLT_FORMAT,
} from './linkMeters.ts';
import type { Connected, LinkSubject, Outcome } from './linkSubject.ts';

/** One link, and the air of the two contract meters (linkMeters.ts), both in range at the start. */
export interface LinkHarness {
  readonly subject: LinkSubject;
  /** Of the first meter. */
  notify(ref: CharacteristicRef, bytes: readonly number[]): Promise<void>;
  drop(): Promise<void>;
  setInRange(inRange: boolean): Promise<void>;
  isConnected(): Promise<boolean>;
  /** What the link has written to it, oldest first. */
  written(): Promise<readonly { readonly ref: CharacteristicRef; readonly bytes: readonly number[] }[]>;
  /** The third meter, which only broadcasts; or why this link cannot hear it. */
  readonly beacon: Beacon | { readonly cannotListen: string };
  close(): Promise<void>;
}

export interface Beacon {
  say(bytes: readonly number[]): void;
  setInRange(inRange: boolean): void;
}

const CONNECT_MS = 10_000;

/** What every link must do, whatever its radio. */
export function linkContract(name: string, makeHarness: () => Promise<LinkHarness>): void {
  describe(`the link contract: ${name}`, () => {
    let h: LinkHarness;
    beforeEach(async () => {
      h = await makeHarness();
    });
    afterEach(() => h.close());

    async function findMeter(): Promise<string> {
      await h.subject.startFind([METER_SERVICE]);
      await until(async () => (await h.subject.seen()).length > 0);
      const { id } = (await h.subject.seen())[0]!;
      value(await h.subject.stopFind());
      return id;
    }

    async function open(id?: string): Promise<Connected> {
      return value(await h.subject.connect(id ?? (await findMeter()), CONNECT_MS, null));
    }

    test('a scan shows the meters that offer the service, and only those, until it is called off', async () => {
      await h.subject.startFind([METER_SERVICE]);
      await until(async () => (await h.subject.seen()).some((m) => m.name === METER.name));
      await pause(300);
      expect(value(await h.subject.stopFind())).toBeNull();
      const ids = new Set((await h.subject.seen()).map((m) => m.id));
      expect(ids.size).toBe(1);
    });

    test('connecting lists every characteristic with what it can do', async () => {
      const { characteristics, meter } = await open();
      expect(meter.name).toBe(METER.name);
      const wanted = METER.characteristics.map(
        ({ service, characteristic, index, canRead, canNotify, canWrite }) => ({
          service,
          characteristic,
          index,
          canRead,
          canNotify,
          canWrite,
        }),
      );
      const services = new Set(wanted.map((c) => c.service));
      const listed = characteristics.filter((c) => services.has(c.service));
      expect(listed).toEqual(wanted.map((c) => expect.objectContaining(c) as unknown));
      const formatted = listed.filter((c) => c.descriptors.includes(FORMAT)).map((c) => c.index);
      expect(formatted).toEqual([0, 1]);
    });

    test('values are read, those of equal characteristics apart', async () => {
      const { connection } = await open();
      const read = async (ref: CharacteristicRef) => value(await h.subject.read(connection, ref));
      expect(await read(INFO)).toEqual([0x4e, 0x69, 0x67, 0x68, 0x74]);
      expect(await read(FIRST_ANALOG)).toEqual([0x56, 0x31]);
      expect(await read(SECOND_ANALOG)).toEqual([0x32, 0x00]);
      expect(await h.subject.read(connection, STREAM)).toEqual({ error: 'refused' });
      expect(await h.subject.read(connection, { ...INFO, index: 1 })).toEqual({ error: 'refused' });
    });

    test('presentation formats are read, and an absent one is refused', async () => {
      const { connection } = await open();
      const read = (ref: CharacteristicRef) => h.subject.readDescriptor(connection, ref, FORMAT);
      expect(value(await read(FIRST_ANALOG))).toEqual(VOLT_FORMAT);
      expect(value(await read(SECOND_ANALOG))).toEqual(AMPERE_FORMAT);
      expect(await read(INFO)).toEqual({ error: 'refused' });
    });

    test('what is written arrives, with and without a response, in order', async () => {
      const { connection } = await open();
      value(await h.subject.write(connection, COMMAND, [1, 2, 3], true));
      value(await h.subject.write(connection, COMMAND, [4], false));
      await until(async () => (await h.written()).length === 2);
      expect(await h.written()).toEqual([
        { ref: COMMAND, bytes: [1, 2, 3] },
        { ref: COMMAND, bytes: [4] },
      ]);
      expect(await h.subject.write(connection, INFO, [1], true)).toEqual({ error: 'refused' });
    });

    test('notifications arrive once each, in order, with the time of their arrival', async () => {
      const { connection } = await open();
      value(await h.subject.subscribe(connection, STREAM));
      await h.subject.subscribe(connection, STREAM); // a second one is refused or takes over: never both
      const fromMs = await h.subject.nowMs();
      const frames = Array.from({ length: 20 }, (_, i) => [i, 255 - i]);
      for (const frame of frames) await h.notify(STREAM, frame);
      const received = () => h.subject.received(connection, STREAM);
      await until(async () => (await received()).length >= frames.length);
      await pause(100);
      expect((await received()).map((r) => r.bytes)).toEqual(frames);
      const times = (await received()).map((r) => r.atMs);
      expect([...times].sort((a, b) => a - b)).toEqual(times);
      expect(times[0]).toBeGreaterThanOrEqual(fromMs);
      expect(times.at(-1)).toBeLessThanOrEqual(await h.subject.nowMs());
    });

    test('notifications of equal characteristics are kept apart', async () => {
      const { connection } = await open();
      value(await h.subject.subscribe(connection, FIRST_ANALOG));
      value(await h.subject.subscribe(connection, SECOND_ANALOG));
      await h.notify(FIRST_ANALOG, [1, 0]);
      await h.notify(SECOND_ANALOG, [2, 0]);
      const received = async (ref: CharacteristicRef) =>
        (await h.subject.received(connection, ref)).map((r) => r.bytes);
      await until(async () => (await received(SECOND_ANALOG)).length > 0);
      await until(async () => (await received(FIRST_ANALOG)).length > 0);
      expect(await received(FIRST_ANALOG)).toEqual([[1, 0]]);
      expect(await received(SECOND_ANALOG)).toEqual([[2, 0]]);
      // The answer to a read is no notification.
      expect(value(await h.subject.read(connection, SECOND_ANALOG))).toEqual([0x32, 0x00]);
      await pause(60);
      expect(await received(SECOND_ANALOG)).toEqual([[2, 0]]);
      expect(await h.subject.subscribe(connection, INFO)).toEqual({ error: 'refused' });
    });

    test('a drop is told once, and nothing is left waiting', async () => {
      const { connection } = await open();
      value(await h.subject.subscribe(connection, STREAM));
      await h.drop();
      await until(async () => (await h.subject.drops(connection)).length > 0);
      await pause(100);
      const [reason, ...more] = await h.subject.drops(connection);
      expect(reason).not.toBe('');
      expect(more).toEqual([]);
      expect(await h.subject.read(connection, INFO)).toEqual({ error: 'dropped' });
      expect(await h.subject.subscribe(connection, FIRST_ANALOG)).toEqual({ error: 'dropped' });
      expect(value(await h.subject.closeConnection(connection))).toBeNull();
    });

    test('after a drop the meter is connected to again and everything works as before', async () => {
      const id = await findMeter();
      for (let round = 0; round < 3; round++) {
        const { connection } = await open(id);
        value(await h.subject.subscribe(connection, STREAM));
        await h.notify(STREAM, [round]);
        await until(async () => (await h.subject.received(connection, STREAM)).length > 0);
        await pause(60);
        const received = await h.subject.received(connection, STREAM);
        expect(received.map((r) => r.bytes)).toEqual([[round]]);
        expect(value(await h.subject.read(connection, SECOND_ANALOG))).toEqual([0x32, 0x00]);
        await h.drop();
        await until(async () => (await h.subject.drops(connection)).length > 0);
      }
    });

    test('closing ends the connection without calling it a drop', async () => {
      const { connection } = await open();
      value(await h.subject.closeConnection(connection));
      await until(async () => !(await h.isConnected()));
      expect(await h.subject.drops(connection)).toEqual([]);
      expect(await h.subject.read(connection, INFO)).toEqual({ error: 'dropped' });
    });

    test('connecting to a meter that is away ends in time', async () => {
      const id = await findMeter();
      await h.setInRange(false);
      const fromMs = await h.subject.nowMs();
      const settled = await h.subject.connect(id, 1500, null);
      expect(['timed-out', 'not-found']).toContain('error' in settled ? settled.error : settled);
      expect((await h.subject.nowMs()) - fromMs).toBeLessThan(2500);
      await h.setInRange(true);
      await open(id);
    });

    test('connecting can be called off', async () => {
      const id = await findMeter();
      await h.setInRange(false);
      const fromMs = await h.subject.nowMs();
      expect(await h.subject.connect(id, CONNECT_MS, 300)).toEqual({ error: 'aborted' });
      expect((await h.subject.nowMs()) - fromMs).toBeLessThan(1500);
      await h.setInRange(true);
      await open(id);
    });

    test('a meter that only broadcasts is heard, packet by packet, or the link says why not', async () => {
      const { beacon } = h;
      if ('cannotListen' in beacon) {
        expect(await h.subject.canListen()).toBe(false);
        expect(beacon.cannotListen).toMatch(/^[A-Z].{40,}\.$/);
        return;
      }
      const fromMs = await h.subject.nowMs();
      beacon.say([0x40, 1]);
      await h.subject.startListening([BROADCAST_SERVICE]);
      const said = async () => (await h.subject.heard()).map((a) => a.serviceData[0]!.bytes);
      await until(async () => (await said()).length >= 3); // the same again and again
      beacon.say([0x40, 2]);
      await until(async () => (await said()).at(-1)![1] === 2);
      const [first, ...rest] = await h.subject.heard();
      const second = rest.at(-1)!;
      expect(first!.serviceData).toEqual([{ uuid: BROADCAST_SERVICE, bytes: [0x40, 1] }]);
      expect(first!.name).toBe('Beacon');
      expect(first!.id).toBe(second.id);
      expect(first!.atMs).toBeGreaterThanOrEqual(fromMs);
      expect(second.atMs).toBeGreaterThan(first!.atMs);
      expect(second.atMs).toBeLessThanOrEqual(await h.subject.nowMs());

      beacon.setInRange(false);
      await pause(200);
      const count = (await said()).length;
      await pause(200);
      expect(await said()).toHaveLength(count);
      beacon.setInRange(true);
      await until(async () => (await said()).length > count);
      expect(value(await h.subject.stopListening())).toBeNull();
      const last = (await said()).length;
      await pause(200);
      expect(await said()).toHaveLength(last);
    });

    test('broadcasts of other services are not told, and a connection goes on beside listening', async () => {
      if ('cannotListen' in h.beacon) return expect(await h.subject.canListen()).toBe(false);
      await h.subject.startListening([METER_SERVICE]);
      await pause(300);
      expect(await h.subject.heard()).toEqual([]);
      value(await h.subject.stopListening());

      await h.subject.startListening([BROADCAST_SERVICE]);
      const { connection } = await open();
      value(await h.subject.subscribe(connection, STREAM));
      const before = (await h.subject.heard()).length;
      await h.notify(STREAM, [7]);
      await until(async () => (await h.subject.received(connection, STREAM)).length > 0);
      await until(async () => (await h.subject.heard()).length > before);
      value(await h.subject.stopListening());
    });

    test('a scan shows the meter that only broadcasts with the service of its data', async () => {
      if ('cannotListen' in h.beacon) return expect(await h.subject.canListen()).toBe(false);
      await h.subject.startFind([BROADCAST_SERVICE]);
      await until(async () => (await h.subject.seen()).length > 0);
      expect((await h.subject.seen())[0]).toMatchObject({ name: 'Beacon', services: [BROADCAST_SERVICE] });
      value(await h.subject.stopFind());
    });

    test('a meter that nobody has seen is not found', async () => {
      expect(await h.subject.connect('c0:de:00:00:00:77', 1000, null)).toEqual({ error: 'not-found' });
    });
  });
}

function value<T>(settled: Outcome<T>): T {
  if ('error' in settled) throw new Error(`the link said "${settled.error}"`);
  return settled.value;
}

function pause(ms: number): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve, ms));
}

async function until(holds: () => Promise<boolean>, ms = 10_000): Promise<void> {
  for (const by = performance.now() + ms; performance.now() < by; await pause(10)) {
    if (await holds()) return;
  }
  throw new Error(`did not come about within ${ms} ms`);
}
