import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { Meter } from '../../server/messages/meters.ts';
import type { Recording } from '../../server/messages/records.ts';
import { batchSchema, type Batch, type Notice, type Readings } from '../../server/messages/socket.ts';
import { createBench, type Bench } from '../helpers/hubBench.ts';
import { ManualClock } from '../helpers/manualClock.ts';

const METER: Meter = {
  key: 'page:abc',
  source: 'page',
  name: 'Clamp at the bench',
  driver: 'Test',
  state: 'connected',
  rssi: null,
  channels: [{ key: '2aee.0', quantity: 'current', label: 'Current', apertureMs: null }],
  sentence: '',
};

let clock: ManualClock;
let bench: Bench;
let recording: Recording;

function batch(number: number, counts: readonly number[], more: Partial<Batch> = {}): Batch {
  const t = counts.map((_, i) => number * 1000 + i * 100);
  const samples = { t, counts: [...counts], scale: counts.map(() => -2), flags: counts.map(() => 0) };
  const parts = [{ key: '2aee.0', samples }];
  return batchSchema.parse({ recordingId: recording.id, meterKey: METER.key, number, parts, ...more });
}

const send = (b: Batch) => bench.hub.pages.batch('socket-1', b);
const stored = () => [...bench.store.readSamples(recording.channels[0]!.id).counts];

beforeEach(async () => {
  clock = new ManualClock();
  bench = createBench({ clock });
  bench.hub.pages.announce('socket-1', [METER]);
  await clock.advance(1000);
  recording = bench.hub.startRecording({
    caseId: null,
    kind: 'overnight-test',
    title: 'Page',
    zone: 'Europe/Paris',
    meters: [METER.key],
  });
});

afterEach(() => bench.close());

describe('batches of a page', () => {
  it('are stored once each, in order, and are durable when they are acknowledged', () => {
    expect(send(batch(1, [1, 2, 3]))).toEqual({ ok: true, upTo: 1 });
    expect(stored()).toEqual([1, 2, 3]);
    expect(send(batch(2, [4]))).toEqual({ ok: true, upTo: 2 });
    expect(send(batch(1, [1, 2, 3]))).toEqual({ ok: true, upTo: 2 });
    expect(send(batch(2, [4]))).toEqual({ ok: true, upTo: 2 });
    expect(stored()).toEqual([1, 2, 3, 4]);
    expect(bench.store.lastBatch(recording.id, METER.key)).toBe(2);
  });

  it('that come too early are answered with the number that is missing', () => {
    expect(send(batch(1, [1]))).toMatchObject({ ok: true });
    expect(send(batch(4, [4]))).toMatchObject({ ok: false, expected: 2, error: { error: 'conflict' } });
    expect(stored()).toEqual([1]);
    for (const n of [2, 3, 4]) expect(send(batch(n, [n]))).toEqual({ ok: true, upTo: n });
    expect(stored()).toEqual([1, 2, 3, 4]);
  });

  it('are accepted after the recording has been stopped, up to the moment of the stop', async () => {
    send(batch(1, [1]));
    await clock.advance(3050);
    bench.hub.stopRecording(recording.id);
    expect(send(batch(2, [2, 3]))).toEqual({ ok: true, upTo: 2 });
    expect(send(batch(3, [4, 5]))).toEqual({ ok: true, upTo: 3 });
    expect(send(batch(4, [6]))).toEqual({ ok: true, upTo: 4 });
    expect(stored()).toEqual([1, 2, 3, 4]);
    expect(bench.store.getRecording(recording.id)).toMatchObject({ state: 'stopped', durationMs: 3050 });
  });

  it('wait in the page while the disk is full', () => {
    send(batch(1, [1]));
    bench.fill.full = 'store-full';
    expect(send(batch(2, [2]))).toMatchObject({ ok: false, expected: null, error: { error: 'store-full' } });
    bench.fill.full = null;
    expect(send(batch(2, [2]))).toEqual({ ok: true, upTo: 2 });
    expect(stored()).toEqual([1, 2]);
  });

  it.each<[string, (b: Batch) => Batch, string]>([
    [
      'a channel that is not recorded',
      (b) => ({ ...b, parts: [{ ...b.parts[0]!, key: 'x' }] }),
      'bad-request',
    ],
    ['a meter that is not recorded', (b) => ({ ...b, meterKey: 'page:other' }), 'bad-request'],
    ['a recording that is gone', (b) => ({ ...b, recordingId: 'gone1234' }), 'not-found'],
    [
      'half a display digit',
      (b) => ({ ...b, parts: [{ ...b.parts[0]!, samples: { ...b.parts[0]!.samples, counts: [0.5] } }] }),
      'bad-request',
    ],
    [
      'a time in another year',
      (b) => ({ ...b, parts: [{ ...b.parts[0]!, samples: { ...b.parts[0]!.samples, t: [1.7e12] } }] }),
      'bad-request',
    ],
    [
      'a gap that ends before it begins',
      (b) => ({ ...b, gaps: [{ key: '2aee.0', startMs: 10, endMs: 5, reason: 'dropped' }] }),
      'bad-request',
    ],
  ])('are refused for %s, with nothing stored and no number used up', (_, spoil, code) => {
    expect(send(spoil(batch(1, [7])))).toMatchObject({ ok: false, expected: null, error: { error: code } });
    expect(stored()).toEqual([]);
    expect(send(batch(1, [1]))).toEqual({ ok: true, upTo: 1 });
  });

  it('bring the gaps and events that the page saw', () => {
    const reply = send(
      batch(1, [1], {
        gaps: [{ key: '2aee.0', startMs: 200, endMs: 900, reason: 'dropped' }],
        events: [{ atMs: 200, kind: 'meter-dropped', text: 'Out of range.', value: null }],
      }),
    );
    expect(reply).toEqual({ ok: true, upTo: 1 });
    expect(bench.store.listGaps(recording.id)).toEqual([
      { channelId: recording.channels[0]!.id, startMs: 200, endMs: 900, reason: 'dropped' },
    ]);
    expect(bench.store.listEvents(recording.id)).toContainEqual({
      atMs: 200,
      kind: 'meter-dropped',
      text: 'Out of range.',
      value: null,
    });
  });

  it('report a clock step that this server has seen itself only once, also when sent again', async () => {
    const step = (atMs: number) =>
      ({ atMs, kind: 'clock-step', text: 'Stepped.', value: -7_200_000 }) as const;
    clock.stepWallClock(-7_200_000);
    await clock.advance(1500);
    send(batch(1, [1], { events: [step(900)] }));
    bench.fill.full = 'store-full';
    send(batch(2, [2], { events: [step(60_000)] }));
    bench.fill.full = null;
    send(batch(2, [2], { events: [step(60_000)] }));
    await clock.advance(1000);
    const steps = bench.store.listEvents(recording.id).filter((e) => e.kind === 'clock-step');
    expect(steps.map((e) => [e.atMs, e.value])).toEqual([
      [1000, -7_200_000],
      [60_000, -7_200_000],
    ]);
  });

  it('are shown to the other screens, on the server clock', () => {
    const heard: [Readings, string | null][] = [];
    bench.hub.listen({ onReadings: (readings, from) => heard.push([readings, from]) });
    send(batch(1, [5, 6]));
    send(batch(1, [5, 6]));
    const start = bench.hub.runningRecordings()[0]!.startNowMs!;
    expect(heard).toEqual([
      [
        {
          meterKey: METER.key,
          channels: [
            {
              key: '2aee.0',
              quantity: 'current',
              t: [start + 1000, start + 1100],
              value: [0.05, 0.06],
              text: '0.06',
              flags: [0, 0],
            },
          ],
        },
        'socket-1',
      ],
    ]);
  });

  it('are stored but not shown when the page kept them for long', async () => {
    await clock.advance(300_000);
    const heard: Readings[] = [];
    bench.hub.listen({ onReadings: (readings) => heard.push(readings) });
    expect(send(batch(1, [5]))).toEqual({ ok: true, upTo: 1 });
    expect(stored()).toEqual([5]);
    expect(heard).toEqual([]);
  });
});

describe('meters of a page', () => {
  it('leave with it, but stay in the list while they are recorded', () => {
    const idle = { ...METER, key: 'page:idle' };
    bench.hub.pages.announce('socket-1', [METER, idle]);
    bench.hub.pages.announce('socket-1', []);
    expect(bench.hub.meters()).toMatchObject([{ key: METER.key, state: 'reconnecting' }]);
    bench.hub.pages.announce('socket-2', [METER]);
    expect(bench.hub.meters()).toMatchObject([{ key: METER.key, state: 'connected' }]);
    // The old socket closes after the reloaded page is back: the meter is the new one's now.
    bench.hub.pages.announce('socket-1', []);
    expect(bench.hub.meters()).toMatchObject([{ key: METER.key, state: 'connected' }]);
  });

  it('may show new channels while they are recorded', () => {
    const temperature = { key: '2a6e.0', quantity: 'temperature', label: 'Case', apertureMs: null } as const;
    bench.hub.pages.announce('socket-1', [{ ...METER, channels: [...METER.channels, temperature] }]);
    const { parts } = batch(1, [2150]);
    expect(send(batch(1, [], { parts: [{ ...parts[0]!, key: '2a6e.0' }] }))).toMatchObject({ ok: true });
    const channel = bench.store.getRecording(recording.id).channels[1]!;
    expect(channel).toMatchObject({ quantity: 'temperature', samples: 1, meterKey: METER.key });
  });

  it('are relayed only for the page that announced them', () => {
    const readings: Readings = {
      meterKey: METER.key,
      channels: [{ key: '2aee.0', quantity: 'current', t: [1], value: [0.5], text: '0.50', flags: [0] }],
    };
    const heard: string[] = [];
    bench.hub.listen({ onReadings: (r, from) => heard.push(`${r.meterKey} from ${from}`) });
    bench.hub.pages.relay('socket-1', readings);
    const refused = expect.objectContaining({ code: 'conflict' }) as Error;
    expect(() => bench.hub.pages.relay('socket-2', readings)).toThrow(refused);
    expect(heard).toEqual(['page:abc from socket-1']);
  });

  it.each([
    ['of this server', { ...METER, source: 'server' as const }],
    ['under a key of this server', { ...METER, key: 'server:abc' }],
  ])('cannot be announced as a meter %s', (_, meter) => {
    const refused = expect.objectContaining({ code: 'bad-request' }) as Error;
    expect(() => bench.hub.pages.announce('socket-2', [meter])).toThrow(refused);
  });

  it('cannot be connected by the server', () => {
    const refused = expect.objectContaining({ code: 'bad-request' }) as Error;
    expect(() => bench.hub.connect(METER.key)).toThrow(refused);
  });
});

describe('an attempt or a note', () => {
  it('is durable at once, and refused when the recording does not run', async () => {
    const notices: Notice[] = [];
    bench.hub.listen({ onNotice: (n) => notices.push(n) });
    await clock.advance(1234);
    const event = bench.hub.addEvent(recording.id, 'attempt', 'Handle, no answer.');
    expect(event).toEqual({ atMs: 1234, kind: 'attempt', text: 'Handle, no answer.', value: null });
    expect(bench.store.listEvents(recording.id)).toContainEqual(event);
    bench.hub.stopRecording(recording.id);
    const conflict = expect.objectContaining({ code: 'conflict' }) as Error;
    expect(() => bench.hub.addEvent(recording.id, 'note', 'Late.')).toThrow(conflict);
    const missing = expect.objectContaining({ code: 'not-found' }) as Error;
    expect(() => bench.hub.addEvent('gone1234', 'note', 'Late.')).toThrow(missing);
    expect(notices).toEqual([]);
  });
});
