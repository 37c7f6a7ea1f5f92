import { describe, expect, it } from 'vitest';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { clock, connected, setUp } from '../helpers/hubFixture.ts';

const START = { caseId: null, kind: 'live-watch', title: 'Test', zone: null } as const;

describe('gaps of a recording', () => {
  it('has a gap with its reason where the meter dropped, and goes on after it', async () => {
    const meter = new FakeMeter('one');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    const { id, channels } = hub.startRecording({ ...START, meters: [key] });
    await clock.advance(1000);
    meter.sendVoltage(800);
    meter.near = false;
    meter.drop();
    await clock.advance(60_000);
    meter.near = true;
    await clock.advance(10_000);
    meter.sendVoltage(801);
    await clock.advance(1000);
    hub.stopRecording(id);

    const gaps = store.listGaps(id).filter((g) => g.channelId === channels[0]!.id);
    expect(gaps).toEqual([{ channelId: channels[0]!.id, startMs: 1000, endMs: 71_000, reason: 'dropped' }]);
    expect(store.listEvents(id).map((e) => e.kind)).toEqual([
      'started',
      'meter-dropped',
      'meter-connected',
      'stopped',
    ]);
    expect(meter.connects).toBe(2);
  });

  it('ends with a gap when it is stopped while the meter is away', async () => {
    const meter = new FakeMeter('one');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    const { id, channels } = hub.startRecording({ ...START, meters: [key] });
    await clock.advance(1000);
    meter.sendVoltage(800);
    meter.sendCurrent(5);
    meter.near = false;
    meter.drop();
    await clock.advance(5000);
    hub.stopRecording(id);
    expect(store.listGaps(id)).toEqual(
      channels.map((c) => ({ channelId: c.id, startMs: 1000, endMs: 6000, reason: 'dropped' })),
    );
  });

  it('begins with a gap when it is started while the meter is away', async () => {
    const meter = new FakeMeter('one');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    meter.sendVoltage(800);
    meter.near = false;
    meter.drop();
    await clock.advance(10);
    const { id, channels } = hub.startRecording({ ...START, meters: [key] });
    await clock.advance(5000);
    meter.near = true;
    await clock.advance(20_000);
    meter.sendVoltage(801);
    meter.sendCurrent(3);
    hub.stopRecording(id);
    expect(store.listGaps(id)).toEqual(
      channels.map((c) => ({ channelId: c.id, startMs: 0, endMs: 25_000, reason: 'dropped' })),
    );
  });

  it('begins with a gap when its meter is known but still connecting', async () => {
    const meter = new FakeMeter('one');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    await hub.disconnect(key);
    meter.near = false;
    hub.connect(key);
    await clock.advance(100);
    const { id, channels } = hub.startRecording({ ...START, meters: [key] });
    await clock.advance(2000);
    meter.near = true;
    await clock.advance(1000);
    meter.sendVoltage(801);
    await clock.advance(1000);
    hub.stopRecording(id);
    expect(store.listGaps(id)).toEqual([
      { channelId: channels[0]!.id, startMs: 0, endMs: 3000, reason: 'dropped' },
      { channelId: channels[1]!.id, startMs: 0, endMs: 4000, reason: 'dropped' },
    ]);
  });

  it('has one gap from the last reading to the next when the meter was lost for good in between', async () => {
    const meter = new FakeMeter('one');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    const { id, channels } = hub.startRecording({ ...START, meters: [key] });
    await clock.advance(1000);
    meter.sendVoltage(800);
    meter.sendCurrent(1);
    meter.setReadable(false);
    meter.drop();
    await clock.advance(5000);
    expect(hub.meters()[0]).toMatchObject({ state: 'failed', sentence: 'No driver knows this meter.' });
    meter.setReadable(true);
    hub.connect(key);
    await clock.advance(1000);
    meter.sendVoltage(801);
    meter.sendCurrent(2);
    hub.stopRecording(id);
    expect(store.listGaps(id)).toEqual(
      channels.map((c) => ({ channelId: c.id, startMs: 1000, endMs: 7000, reason: 'dropped' })),
    );
    expect(store.listEvents(id).map((e) => e.kind)).toEqual([
      'started',
      'meter-dropped',
      'meter-dropped',
      'meter-connected',
      'stopped',
    ]);
  });
});
