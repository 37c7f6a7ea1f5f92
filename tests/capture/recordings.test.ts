import { describe, expect, it } from 'vitest';
import { FLAG } from '../../drivers/core/reading.ts';
import { OpenRecording } from '../../server/capture/openRecording.ts';
import { Recorder } from '../../server/capture/recorder.ts';
import type { Notice } from '../../server/messages/socket.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { clock, connected, setUp } from '../helpers/hubFixture.ts';

const START = { caseId: null, kind: 'live-watch', title: 'Test', zone: null } as const;

describe('a recording of a meter of this server', () => {
  it('holds every reading with its digits, flags and time', async () => {
    const meter = new FakeMeter('one');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    await clock.advance(500);
    const recording = hub.startRecording({ ...START, meters: [key] });
    for (let i = 0; i < 20; i++) {
      await clock.advance(100);
      // 0xFFFF is "value is not known" (GATT Specification Supplement, Voltage).
      meter.sendVoltage(i === 7 ? 0xffff : 800 + i);
      if (i % 2 === 0) meter.sendCurrent(i);
    }
    await clock.advance(50);
    const stopped = hub.stopRecording(recording.id);

    expect(stopped).toMatchObject({ state: 'stopped', durationMs: 2050 });
    const [voltage, current] = stopped.channels.map((c) => store.readSamples(c.id));
    expect([...voltage!.t]).toEqual(Array.from({ length: 20 }, (_, i) => 100 * (i + 1)));
    // 1/64 V is 15625 x 10^-6 V exactly.
    expect([...voltage!.counts]).toEqual(
      Array.from({ length: 20 }, (_, i) => (i === 7 ? 0 : (800 + i) * 15_625)),
    );
    expect([...voltage!.flags]).toEqual(Array.from({ length: 20 }, (_, i) => (i === 7 ? FLAG.none : 0)));
    expect([...current!.t]).toEqual([100, 300, 500, 700, 900, 1100, 1300, 1500, 1700, 1900]);
    expect(store.listGaps(recording.id)).toEqual([]);
    expect(store.listEvents(recording.id).map((e) => [e.kind, e.atMs])).toEqual([
      ['started', 0],
      ['stopped', 2050],
    ]);
  });

  it('keeps no reading from before its start, as a meter with a clock of its own may send', async () => {
    const meter = new FakeMeter('one');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    const { id, channels } = hub.startRecording({ ...START, meters: [key] });
    const open = new OpenRecording(
      store.getRecording(id),
      clock.nowMs(),
      new Recorder({ store, clock, recordingId: id, startNowMs: clock.nowMs() }),
    );
    const reading = { quantity: 'voltage', counts: 12_600, scale: -3, flags: 0 } as const;
    open.feed(
      key,
      [-50, 0, 50].map((ms) => ({ key: channels[0]!.key, reading, atMs: clock.nowMs() + ms })),
    );
    open.recorder.flush();
    expect([...store.readSamples(channels[0]!.id).t]).toEqual([0, 50]);
  });

  it('takes a refused frame as an event and goes on', async () => {
    const meter = new FakeMeter('one');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    const { id, channels } = hub.startRecording({ ...START, meters: [key] });
    for (let i = 0; i < 30; i++) {
      await clock.advance(100);
      meter.sendBroken();
      meter.sendVoltage(800);
    }
    hub.stopRecording(id);
    expect(store.getRecording(id).channels[0]!.samples).toBe(30);
    const bad = store.listEvents(id).filter((e) => e.kind === 'bad-frame');
    expect(bad).toHaveLength(2);
    expect(bad[1]!.text).toContain('28 more');
    expect(store.listGaps(id)).toEqual([]);
    expect(channels).toHaveLength(2);
  });

  it('notes a step of the wall clock; its samples do not jump', async () => {
    const meter = new FakeMeter('one');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    const { id, channels } = hub.startRecording({ ...START, meters: [key] });
    for (let i = 0; i < 50; i++) {
      if (i === 25) clock.stepWallClock(-7200_000);
      await clock.advance(100);
      meter.sendVoltage(800);
    }
    hub.stopRecording(id);
    const steps = store.listEvents(id).filter((e) => e.kind === 'clock-step');
    expect(steps).toMatchObject([{ value: -7200_000 }]);
    expect(steps[0]!.atMs).toBeGreaterThanOrEqual(2500);
    expect(steps[0]!.atMs).toBeLessThanOrEqual(3500);
    const { t } = store.readSamples(channels[0]!.id);
    expect([...t]).toEqual(Array.from({ length: 50 }, (_, i) => 100 * (i + 1)));
  });

  it('goes on while the disk is full; stopping is refused until it is not', async () => {
    const meter = new FakeMeter('one');
    const { hub, store, fill } = setUp([meter]);
    const notices: Notice[] = [];
    hub.listen({ onNotice: (n) => notices.push(n) });
    const key = await connected(meter);
    const { id } = hub.startRecording({ ...START, meters: [key] });
    await clock.advance(1000);
    fill.full = 'store-full';
    for (let i = 0; i < 100; i++) {
      meter.sendVoltage(800 + i);
      await clock.advance(100);
    }
    expect(() => hub.stopRecording(id)).toThrow(expect.objectContaining({ code: 'store-full' }) as Error);
    expect(store.getRecording(id).state).toBe('recording');
    expect(notices.map((n) => n.level)).toEqual(['error']);
    fill.full = null;
    expect(hub.stopRecording(id).channels[0]!.samples).toBe(100);
    expect(notices.map((n) => n.level)).toEqual(['error', 'info']);
    expect(store.listGaps(id)).toEqual([]);
    expect(store.listEvents(id).map((e) => e.kind)).toContain('disk-full');
  });

  it('keeps its meters connected: neither they nor the virtual car can be let go', async () => {
    const meter = new FakeMeter('one');
    const { hub } = setUp([meter]);
    const key = await connected(meter);
    await hub.virtualCar('start');
    await clock.advance(10);
    const { id } = hub.startRecording({ ...START, meters: [key, 'virtual:clamp'] });
    const conflict = { code: 'conflict' };
    await expect(hub.disconnect(key)).rejects.toMatchObject(conflict);
    await expect(hub.virtualCar('stop')).rejects.toMatchObject(conflict);
    hub.stopRecording(id);
    expect((await hub.disconnect(key)).state).toBe('seen');
    expect(meter.isConnected).toBe(false);
    await hub.virtualCar('stop');
    expect(hub.meters().map((m) => m.key)).toEqual([key]);
    expect(hub.virtualCarRuns).toBe(false);
  });
});

describe('a recording cannot be started', () => {
  it.each([
    ['with a meter that nobody has seen', 'server:none', 'not-found'],
    ['with one that is only seen', 'server:seen', 'conflict'],
    ['with one that does not answer', 'server:far', 'meter-unreachable'],
    ['with one that no driver knows', 'server:odd', 'meter-unknown'],
  ])('%s', async (_, key, code) => {
    const far = new FakeMeter('far');
    far.near = false;
    const { hub, store } = setUp([new FakeMeter('seen'), far, new FakeMeter('odd', { readable: false })]);
    const scan = hub.scan(1);
    await clock.advance(1000);
    await scan;
    hub.connect('server:far');
    hub.connect('server:odd');
    await clock.advance(1000);
    expect(() => hub.startRecording({ ...START, meters: [key] })).toThrow(
      expect.objectContaining({ code }) as Error,
    );
    expect(store.listRecordings()).toEqual([]);
  });

  it('for a case that is not there', async () => {
    const meter = new FakeMeter('one');
    const { hub } = setUp([meter]);
    const key = await connected(meter);
    expect(() => hub.startRecording({ ...START, caseId: 'abcd1234', meters: [key] })).toThrow(
      expect.objectContaining({ code: 'not-found' }) as Error,
    );
  });
});
