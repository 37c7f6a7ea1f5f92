import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { Meter } from '../../server/messages/meters.ts';
import type { RecordingDetail } from '../../server/messages/http.ts';
import { VOLTS_A_COUNT, type CountingMeter } from './rig/countingMeter.ts';
import { eventually } from './rig/eventually.ts';
import { SyncRig, type SyncPage } from './rig/syncBench.ts';

/** A page's own meter, from the notification to the server's disk, through all that can happen in a night. */

const rig = new SyncRig();
let meter: CountingMeter;
let page: SyncPage;
let key: string;

beforeAll(async () => {
  await rig.start();
  await rig.browser.context.addInitScript(() => {
    const { wakeLock } = navigator;
    const request = wakeLock.request.bind(wakeLock);
    const locks = window as unknown as AskedLocks;
    locks.asked = 0;
    wakeLock.request = async (type) => {
      locks.asked++;
      return (locks.lock = await request(type));
    };
  });
  meter = rig.addMeter('Bench voltmeter');
  page = await rig.openPage();
  key = await page.connect(rig.addressOf(meter));
});
afterAll(() => rig.close());

interface AskedLocks {
  asked: number;
  lock: WakeLockSentinel;
}

const oneTo = (from: number, to: number): number[] =>
  Array.from({ length: to - from + 1 }, (_, i) => from + i);

describe('a meter in the page', () => {
  test('is decoded there and listed by the server', async () => {
    meter.start(50);
    await eventually(() => page.look((b) => b.readings.length)).toBeGreaterThan(3);
    const [first] = await page.look((b) => b.readings[0]!.channels);
    // How many readings share the first message hangs on the machine; the text is that of the last of them.
    const counts = first!.value.map((volts) => Math.round(volts! / VOLTS_A_COUNT));
    expect(first!.quantity).toBe('voltage');
    expect(counts).toEqual(oneTo(1, counts.length));
    expect(first!.text).toBe((counts.length * VOLTS_A_COUNT).toFixed(6));
    const now = await page.look((b) => b.sync.serverNowMs()!);
    expect(now - first!.t[0]!).toBeLessThan(10_000);
    expect(now - first!.t[0]!).toBeGreaterThan(0);
    const listed = (await rig.server.get<Meter[]>('meters')).find((m) => m.key === key);
    expect(listed).toMatchObject({ source: 'page', name: 'Bench voltmeter', state: 'connected' });
  });

  test('is seen in another page, which has no radio of its own', async () => {
    const other = await rig.openPage();
    await eventually(() => other.look((b) => b.readings.length)).toBeGreaterThan(3);
    expect(await other.look((b) => b.readings[0]!.meterKey)).toBe(key);
    expect(await other.look((b) => b.sync.isOwn(b.readings[0]!.meterKey))).toBe(false);
    await other.page.close();
  });

  test('is recorded, every reading once and in order', async () => {
    const before = meter.sent;
    const id = await rig.startRecording(key);
    await page.page.waitForTimeout(2500);
    const atStop = meter.sent;
    await rig.stopRecording(id);
    await eventually(async () => (await rig.storedCounts(id)).at(-1)).toBeGreaterThan(atStop - 10);
    await eventually(() => page.waiting()).toBe(0);
    const counts = await rig.storedCounts(id);
    expect(counts).toEqual(oneTo(counts[0]!, counts.at(-1)!));
    expect(Math.abs(counts[0]! - before)).toBeLessThan(10);
    expect(counts.at(-1)! - atStop).toBeLessThan(10);
  });
});

test('a second tab of the same browser does not take the meter, nor record it twice', async () => {
  const other = await rig.openPage();
  await expect(other.connect(rig.addressOf(meter))).rejects.toThrow(/another tab/);
  await other.page.close();
});

test('the screen is kept on while a meter is connected, and asked for again when the page is shown', async () => {
  const asked = (): Promise<number> => page.page.evaluate(() => (window as unknown as AskedLocks).asked);
  expect(await asked()).toBe(1);
  await page.page.evaluate(async () => {
    await (window as unknown as AskedLocks).lock.release(); // as a browser does when the page is hidden
    document.dispatchEvent(new Event('visibilitychange'));
  });
  await eventually(asked).toBe(2);
});

test('readings are kept without any help of timers, which a hidden page gets late or not at all', async () => {
  const timers = await page.page.evaluateHandle(() => window.setTimeout);
  await page.page.evaluate(() => {
    (window as { setTimeout: unknown }).setTimeout = () => 0;
  });
  const id = await rig.startRecording(key);
  await eventually(async () => (await rig.storedCounts(id)).length).toBeGreaterThan(100);
  const counts = await rig.storedCounts(id);
  expect(counts).toEqual(oneTo(counts[0]!, counts.at(-1)!));
  await rig.stopRecording(id);
  await timers.evaluate((setTimeout) => {
    window.setTimeout = setTimeout;
  });
});

test('a server that is killed and comes back has every reading once', async () => {
  const id = await rig.startRecording(key);
  await eventually(async () => (await rig.storedCounts(id)).length).toBeGreaterThan(30);
  const first = (await rig.storedCounts(id))[0]!;
  await rig.server.kill();
  const atKill = meter.sent;
  await eventually(() => page.waiting()).toBeGreaterThan(3);
  await page.page.waitForTimeout(1000);
  const atStart = meter.sent;
  await rig.server.start();
  await eventually(() => page.look((b) => b.sync.connection.state)).toBe('connected');
  await eventually(async () => (await rig.storedCounts(id)).at(-1)!).toBeGreaterThan(atStart + 20);
  const counts = await rig.storedCounts(id);
  expect(counts).toEqual(oneTo(first, counts.at(-1)!));
  expect(atStart - atKill).toBeGreaterThan(50); // it was really away
  await rig.stopRecording(id);
});

test('a connection that is cut, again and again, costs nothing', async () => {
  const id = await rig.startRecording(key);
  await eventually(async () => (await rig.storedCounts(id)).length).toBeGreaterThan(10);
  for (let i = 0; i < 4; i++) {
    rig.door.cut();
    await page.page.waitForTimeout(200 + 150 * i);
    rig.door.mend();
    await eventually(() => page.look((b) => b.sync.connection.state)).toBe('connected');
    await page.page.waitForTimeout(i * 120);
  }
  const atEnd = meter.sent;
  await eventually(async () => (await rig.storedCounts(id)).at(-1)!).toBeGreaterThan(atEnd);
  const counts = await rig.storedCounts(id);
  expect(counts).toEqual(oneTo(counts[0]!, counts.at(-1)!));
  await rig.stopRecording(id);
});

test('a recording that is stopped while the page is cut off gets what belongs to it, and no more', async () => {
  const id = await rig.startRecording(key);
  await eventually(async () => (await rig.storedCounts(id)).length).toBeGreaterThan(10);
  rig.door.cut();
  await page.page.waitForTimeout(700);
  const atStop = meter.sent;
  await rig.stopRecording(id);
  await page.page.waitForTimeout(700);
  rig.door.mend();
  await eventually(() => page.look((b) => b.recordings.at(-1)!.recording.state)).toBe('stopped');
  await eventually(async () => (await rig.storedCounts(id)).at(-1)).toBeGreaterThan(atStop - 10);
  await eventually(() => page.waiting()).toBe(0);
  const counts = await rig.storedCounts(id);
  expect(counts).toEqual(oneTo(counts[0]!, counts.at(-1)!));
});

test('a reload while the server is away loses nothing that was put into a batch', async () => {
  const id = await rig.startRecording(key);
  await eventually(async () => (await rig.storedCounts(id)).length).toBeGreaterThan(30);
  const first = (await rig.storedCounts(id))[0]!;
  await rig.server.kill();
  await eventually(() => page.waiting()).toBeGreaterThan(4);
  const atReload = meter.sent;
  await page.page.reload();
  await eventually(() => page.waiting()).toBeGreaterThan(4);
  await rig.server.start();
  await eventually(() => page.look((b) => b.awaited.map((a) => a.key))).toEqual([key]);
  await eventually(async () => (await rig.storedCounts(id)).at(-1)!).toBeGreaterThan(atReload - 40);
  const before = await rig.storedCounts(id);
  expect(before).toEqual(oneTo(first, before.at(-1)!));

  // One tap, and it goes on in the same channel, with the gap said.
  expect(await page.connect(rig.addressOf(meter))).toBe(key);
  await eventually(async () => (await rig.storedCounts(id)).length).toBeGreaterThan(before.length + 30);
  const counts = await rig.storedCounts(id);
  expect(counts).toEqual([...new Set(counts)]);
  expect(counts).toEqual([...counts].sort((a, b) => a - b));
  const resumed = counts[before.length]!;
  expect(counts.slice(before.length)).toEqual(oneTo(resumed, counts.at(-1)!));
  const { gaps } = await rig.server.get<RecordingDetail>(`recordings/${id}`);
  expect(gaps).toHaveLength(1);
  expect(gaps[0]).toMatchObject({ reason: 'dropped' });
  expect(await page.look((b) => b.awaited.length)).toBe(0);
  await rig.stopRecording(id);
});

test('a meter that drops comes back by itself, with the gap in the recording', async () => {
  const id = await rig.startRecording(key);
  await eventually(async () => (await rig.storedCounts(id)).length).toBeGreaterThan(30);
  meter.inRange = false;
  meter.drop();
  await eventually(() => page.look((b) => b.meters.find((m) => b.sync.isOwn(m.key))!.state)).toBe(
    'reconnecting',
  );
  await page.page.waitForTimeout(1200);
  meter.inRange = true;
  const before = (await rig.storedCounts(id)).length;
  await eventually(async () => (await rig.storedCounts(id)).length).toBeGreaterThan(before + 30);
  const counts = await rig.storedCounts(id);
  expect(counts).toEqual(oneTo(counts[0]!, counts.at(-1)!)); // it counts only what it could send
  const { gaps, events } = await rig.server.get<RecordingDetail>(`recordings/${id}`);
  expect(gaps).toHaveLength(1);
  expect(gaps[0]!.endMs - gaps[0]!.startMs).toBeGreaterThan(1200);
  expect(events.map((e) => e.kind)).toEqual(['started', 'meter-dropped', 'meter-connected']);
  await rig.stopRecording(id);
});
