import { beforeEach, describe, expect, test } from 'vitest';
import type { SessionReading } from '../../../drivers/session/types.ts';
import type { Recording } from '../../../server/messages/records.ts';
import type { Notice } from '../../../server/messages/socket.ts';
import { memoryBatches } from '../../../web/sync/memoryBatches.ts';
import { Outbox } from '../../../web/sync/outbox.ts';
import { PageRecorder } from '../../../web/sync/pageRecorder.ts';
import { ManualClock } from '../../helpers/manualClock.ts';
import { FakeServer } from './fakeServer.ts';

/** The page's clock is 1000 s behind the server's; the recording began at page time 5 s. */
const OFFSET_MS = 1_000_000;
const START_MS = 5000;
const KEY = 'page:m';

const recording = (state: Recording['state'], durationMs = 0): Recording => ({
  id: 'rec1',
  caseId: null,
  kind: 'overnight-test',
  title: 'Night',
  state,
  startedAt: null,
  zone: null,
  durationMs,
  provenance: '',
  channels: [
    {
      id: 1,
      samples: 0,
      meterKey: KEY,
      meterName: 'Clamp',
      driver: 'd',
      key: 'v',
      quantity: 'voltage',
      label: 'Voltage',
      apertureMs: null,
    },
  ],
});

let clock: ManualClock;
let server: FakeServer;
let recorder: PageRecorder;
let offsetMs: number | null;
let notices: Notice[];

async function open(mostWaitingSamples = 1e6): Promise<Outbox> {
  clock = new ManualClock();
  server = new FakeServer();
  offsetMs = OFFSET_MS;
  notices = [];
  const onNotice = (notice: Notice): void => void notices.push(notice);
  const outbox = await Outbox.open({
    store: memoryBatches(),
    send: (batch) => server.send(batch),
    clock,
    alone: (_name, work) => work(),
    onState: () => undefined,
    onNotice,
    mostWaitingSamples,
  });
  outbox.setConnected(true);
  recorder = new PageRecorder({ clock, outbox, offsetOn: () => offsetMs, onNotice });
  recorder.meterAppeared(KEY);
  return outbox;
}

/** One reading every 100 ms up to page time `untilMs`; its counts are its page time. */
async function readUntil(untilMs: number): Promise<void> {
  while (clock.nowMs() + 100 <= untilMs) {
    await clock.advance(100);
    recorder.readings(KEY, [reading(clock.nowMs())]);
  }
}

const reading = (atMs: number): SessionReading => ({
  key: 'v',
  atMs,
  reading: { quantity: 'voltage', counts: Math.round(atMs), scale: -3, flags: 0 },
});
const begin = (): void =>
  recorder.heard({ recording: recording('recording'), startNowMs: OFFSET_MS + START_MS }, 1);
const stop = async (durationMs: number): Promise<void> => {
  recorder.heard({ recording: recording('stopped', durationMs), startNowMs: null }, 1);
  await clock.advance(50);
};
const stored = (): { t: number[]; counts: number[] } => {
  const parts = server.stored.flatMap((batch) => batch.parts.map((part) => part.samples));
  return { t: parts.flatMap((p) => p.t), counts: parts.flatMap((p) => p.counts) };
};
const every100 = (from: number, to: number): number[] =>
  Array.from({ length: Math.round((to - from) / 100) + 1 }, (_, i) => from + i * 100);

beforeEach(async () => {
  await open();
});

describe('a recording in the page', () => {
  test('has every reading from its very start to its very end, though both are heard of late', async () => {
    await readUntil(5800);
    begin();
    await readUntil(8600);
    await stop(3500);
    expect(stored()).toEqual({ t: every100(0, 3500), counts: every100(5000, 8500) });
  });

  test('waits for the clocks to be matched', async () => {
    offsetMs = null;
    await readUntil(5200);
    begin();
    await readUntil(8000);
    expect(server.counts()).toEqual([]);
    offsetMs = OFFSET_MS;
    recorder.clockMatched();
    await clock.advance(50);
    expect(stored()).toEqual({ t: every100(0, 3000), counts: every100(5000, 8000) });
  });

  test('makes a batch each half second, and the last one though no reading follows', async () => {
    await readUntil(5000);
    begin();
    await readUntil(8000);
    const sizes = server.stored.slice(2).map((b) => b.parts[0]!.samples.t.length);
    expect(Math.min(...sizes)).toBeGreaterThanOrEqual(4);
    expect(Math.max(...sizes)).toBeLessThanOrEqual(6);
    recorder.readings(KEY, [reading(8050)]);
    await clock.advance(2500);
    expect(server.counts().at(-1)).toBe(8050);
  });

  test('says what the meter does: gaps, drops and frames that were refused', async () => {
    await readUntil(5000);
    begin();
    await readUntil(6000);
    recorder.link(KEY, false, 'Clamp: out of range');
    await clock.advance(3000);
    recorder.gap(KEY, { startMs: 6000, endMs: 9000, reason: 'dropped' });
    recorder.gap(KEY, { startMs: 6000, endMs: 6100, reason: 'silent', channel: 'another' });
    recorder.link(KEY, true, 'Clamp is connected.');
    for (let i = 0; i < 50; i++) recorder.badFrame(KEY, 'A frame was too short.');
    await readUntil(9600);
    await stop(5000);
    const gaps = server.stored.flatMap((b) => b.gaps);
    expect(gaps).toEqual([{ key: 'v', startMs: 1000, endMs: 4000, reason: 'dropped' }]);
    expect(server.stored.flatMap((b) => b.events.map((e) => e.kind))).toEqual([
      'meter-dropped',
      'meter-connected',
      'bad-frame',
    ]);
  });

  test('that ends while the meter is away has the gap up to its end', async () => {
    await readUntil(5000);
    begin();
    await readUntil(6000);
    recorder.link(KEY, false, 'Clamp: out of range');
    await clock.advance(4000);
    await stop(4500);
    expect(server.stored.flatMap((b) => b.gaps)).toEqual([
      { key: 'v', startMs: 1000, endMs: 4500, reason: 'dropped' },
    ]);
  });

  test('that outgrows the browser says what it lost, and goes on when there is room', async () => {
    const outbox = await open(20);
    await readUntil(5000);
    begin();
    await readUntil(6000);
    outbox.setConnected(false);
    await readUntil(11_000);
    outbox.setConnected(true);
    await readUntil(13_000);
    await stop(8000);
    const { t } = stored();
    const gap = server.stored.flatMap((b) => b.gaps);
    expect(gap).toHaveLength(1);
    const [{ startMs, endMs, reason }] = gap as [(typeof gap)[0]];
    expect(reason).toBe('overrun');
    expect(t).toEqual(every100(0, 8000).filter((ms) => ms < startMs || ms > endMs));
    expect(notices.map((n) => n.level)).toEqual(['error']);
  });
});

describe('a computer that slept', () => {
  const asleepMs = 3_600_000;
  const jump = { byMs: asleepMs, afterMs: 7000 };

  beforeEach(async () => {
    await readUntil(5000);
    begin();
    await readUntil(7000);
  });

  test('asks the server before it places what was read since, and leaves a gap', async () => {
    recorder.clockJumped(jump, true);
    await readUntil(9000);
    expect(Math.max(...server.counts())).toBeLessThanOrEqual(7000);
    offsetMs = OFFSET_MS + asleepMs;
    recorder.clockMatched();
    await readUntil(10_000);
    await stop(2 * asleepMs);
    expect(stored().t).toEqual([...every100(0, 2000), ...every100(2100, 5000).map((t) => t + asleepMs)]);
    expect(server.stored.flatMap((b) => b.gaps)).toEqual([
      { key: 'v', startMs: 2000, endMs: 2100 + asleepMs, reason: 'unknown' },
    ]);
  });

  test('was only a step of the wall clock where the server says so', async () => {
    recorder.clockJumped(jump, true);
    await readUntil(9000);
    recorder.clockMatched();
    await readUntil(10_000);
    await stop(5000);
    expect(stored().t).toEqual(every100(0, 5000));
    expect(server.stored.flatMap((b) => b.gaps)).toEqual([]);
  });

  test('goes by the wall clock where the server cannot be asked', async () => {
    recorder.clockJumped(jump, false);
    await readUntil(9000);
    await stop(2 * asleepMs);
    expect(stored().t.at(-1)).toBe(4000 + asleepMs);
  });

  test('does not wait for ever for a server that says nothing', async () => {
    recorder.clockJumped(jump, true);
    await readUntil(13_000);
    await clock.advance(50);
    expect(stored().t.at(-1)).toBeGreaterThan(asleepMs);
  });
});
