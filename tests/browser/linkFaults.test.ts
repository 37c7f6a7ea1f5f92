import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from 'vitest';
import { contractPeer, FIRST_ANALOG, INFO, METER, METER_SERVICE, STREAM } from '../contract/linkMeters.ts';
import type { Connected, LinkSubject, Outcome } from '../contract/linkSubject.ts';
import { METER_ADDRESS, startLinkBench, type LinkBenchRig } from './rig/bench.ts';
import type { BenchPage } from './rig/chromium.ts';
import { eventually } from './rig/eventually.ts';
import type { EmulatedMeter } from './rig/meter.ts';
import { remoteSubject } from './rig/remoteSubject.ts';

/** What Web Bluetooth does beside the contract, and what can go wrong with it. */

let rig: LinkBenchRig;
let meter: EmulatedMeter;
let bench: BenchPage;
let subject: LinkSubject;
let peer: ReturnType<typeof contractPeer>;

beforeAll(async () => {
  rig = await startLinkBench();
});
afterAll(() => rig.close());
beforeEach(async () => {
  peer = contractPeer(METER);
  meter = rig.bluez.addMeter(METER_ADDRESS, peer.peer);
  bench = await rig.browser.openPage(rig.server.url);
  bench.choose = METER_ADDRESS;
  subject = remoteSubject(bench.page);
});
afterEach(async () => {
  await bench.page.close();
  rig.bluez.removeMeter(meter);
});

async function find(services: readonly string[] = [METER_SERVICE]): Promise<string> {
  await subject.startFind(services);
  await eventually(async () => (await subject.seen()).length).toBe(1);
  return (await subject.seen())[0]!.id;
}

async function open(): Promise<number> {
  const opened: Outcome<Connected> = await subject.connect(await find(), 5000, null);
  if ('error' in opened) throw new Error(opened.error);
  return opened.value.connection;
}

test('without a filter every meter is listed, and the services named beforehand can be used', async () => {
  const opened = await subject.connect(await find([]), 5000, null);
  const services = 'value' in opened ? opened.value.characteristics.map((c) => c.service) : [];
  expect(services).toContain(FIRST_ANALOG.service);
  expect(services).not.toContain(METER_SERVICE); // not named in this request
});

test('a chooser that is closed without a choice is an answer', async () => {
  bench.choose = null;
  await subject.startFind([METER_SERVICE]);
  await eventually(() => bench.cancelled).toBe(1);
  await bench.page.waitForTimeout(100);
  expect(await subject.stopFind()).toEqual({ error: 'not-found' });
});

test('a find that is called off reports nothing, whatever is chosen afterwards', async () => {
  bench.choose = 'none of these';
  await subject.startFind([METER_SERVICE]);
  await eventually(() => bench.listed.size).toBe(1);
  expect(await subject.stopFind()).toEqual({ value: null });
  bench.choose = METER_ADDRESS;
  await eventually(() => bench.chosen).toBe(1);
  await bench.page.waitForTimeout(100);
  expect(await subject.seen()).toEqual([]);
});

test('a computer without an adapter is said', async () => {
  rig.bluez.unplug();
  try {
    await subject.startFind([METER_SERVICE]);
    await bench.page.waitForTimeout(300);
    expect(await subject.stopFind()).toEqual({ error: 'no-bluetooth' });
  } finally {
    rig.bluez.plugIn();
  }
});

test('the value of a read is not taken for a notification', async () => {
  const connection = await open();
  await subject.subscribe(connection, FIRST_ANALOG);
  const reading = subject.read(connection, FIRST_ANALOG);
  peer.notify(FIRST_ANALOG, [7]);
  expect(await reading).toEqual({ value: [0x56, 0x31] });
  peer.notify(FIRST_ANALOG, [8]);
  await eventually(async () => (await subject.received(connection, FIRST_ANALOG)).length).toBe(2);
  expect((await subject.received(connection, FIRST_ANALOG)).map((r) => r.bytes)).toEqual([[7], [8]]);
});

test('an operation that the meter never answers ends in time, and the next one gets its turn', async () => {
  const connection = await open();
  meter.ignores.add('read');
  const [first, second] = await Promise.all([
    subject.read(connection, INFO),
    subject.read(connection, FIRST_ANALOG),
  ]);
  expect([first, second]).toEqual([{ error: 'timed-out' }, { error: 'timed-out' }]);
  meter.ignores.clear();
  await subject.subscribe(connection, STREAM);
  peer.notify(STREAM, [1]);
  await eventually(async () => (await subject.received(connection, STREAM)).length).toBe(1);
});

test('operations that are asked for at once are done one after another', async () => {
  const connection = await open();
  const asked = await Promise.all([
    subject.read(connection, INFO),
    subject.read(connection, INFO),
    subject.subscribe(connection, STREAM),
    subject.read(connection, FIRST_ANALOG),
    subject.subscribe(connection, FIRST_ANALOG),
  ]);
  expect(asked.filter((outcome) => 'error' in outcome)).toEqual([]);
});

test('a subscription that the meter refuses can be tried again', async () => {
  const connection = await open();
  meter.refuses.add('subscribe');
  expect(await subject.subscribe(connection, STREAM)).toEqual({ error: 'refused' });
  meter.refuses.clear();
  expect(await subject.subscribe(connection, STREAM)).toEqual({ value: null });
  peer.notify(STREAM, [5]);
  await eventually(async () => (await subject.received(connection, STREAM)).length).toBe(1);
});

test('a meter that refuses to connect is not found', async () => {
  const id = await find();
  meter.refuses.add('connect');
  expect(await subject.connect(id, 5000, null)).toEqual({ error: 'not-found' });
});

test('a connect that follows at once on one that was called off is not taken down with it', async () => {
  const id = await find();
  meter.ignores.add('connect');
  const both = bench.page.evaluate(async (meterId) => {
    const { connect } = (window as unknown as BenchWindow).bench.subject;
    const calledOff = await connect(meterId, 5000, 200);
    return [calledOff, await connect(meterId, 5000, null)] as const;
  }, id);
  await bench.page.waitForTimeout(500);
  meter.ignores.clear();
  const [calledOff, connected] = await both;
  expect(calledOff).toEqual({ error: 'aborted' });
  expect(connected).toHaveProperty('value');
});

test('a flood of notifications arrives whole and in order', async () => {
  const connection = await open();
  await subject.subscribe(connection, STREAM);
  const count = 20_000;
  const startedMs = performance.now();
  for (let i = 0; i < count; i++) {
    peer.notify(STREAM, [i & 255, (i >> 8) & 255, 0, 0]);
    if (i % 200 === 199) await new Promise((resolve) => setImmediate(resolve));
  }
  const received = (): Promise<number> =>
    bench.page.evaluate(
      async ([n, ref]) => (await (window as unknown as BenchWindow).bench.subject.received(n, ref)).length,
      [connection, STREAM] as const,
    );
  await eventually(received).toBe(count);
  const seconds = (performance.now() - startedMs) / 1000;
  console.log(`${Math.round(count / seconds)} notifications a second through the page`);
  const order = (await subject.received(connection, STREAM)).map((r) => r.bytes[0]! + 256 * r.bytes[1]!);
  expect(order).toEqual(Array.from({ length: count }, (_, i) => i & 0xffff));
});

interface BenchWindow {
  readonly bench: { readonly subject: LinkSubject };
}
