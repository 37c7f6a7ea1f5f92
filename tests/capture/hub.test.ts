import { describe, expect, it } from 'vitest';
import type { HubListener } from '../../server/capture/broadcast.ts';
import type { Readings } from '../../server/messages/socket.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { RADIO_MISSING } from '../helpers/hubBench.ts';
import { clock, connected, setUp } from '../helpers/hubFixture.ts';

describe('the meters of this server', () => {
  it('are found by a scan, which ends by itself and forgets those of the last one', async () => {
    const near = new FakeMeter('near', { name: 'Shed\u0007\u202e meter' });
    const far = new FakeMeter('far');
    const { hub } = setUp([near, far]);
    const first = hub.scan(2);
    await clock.advance(2000);
    expect((await first).map((m) => [m.key, m.name, m.state])).toEqual([
      ['server:far', 'Meter far', 'seen'],
      ['server:near', 'Shed meter', 'seen'],
    ]);
    far.near = false;
    const second = hub.scan(2);
    const joined = hub.scan(5);
    await clock.advance(4900);
    let ended = false;
    void joined.then(() => (ended = true));
    await clock.advance(0);
    expect(ended).toBe(false);
    await clock.advance(100);
    expect((await joined).map((m) => m.key)).toEqual(['server:near']);
    expect((await second).map((m) => m.key)).toEqual(['server:near']);
  });

  it('cannot be connected without an adapter, and the sentence says so', () => {
    const { hub } = setUp([], { radio: RADIO_MISSING });
    expect(() => hub.connect('server:one')).toThrow(
      expect.objectContaining({ code: 'no-bluetooth', message: RADIO_MISSING.sentence }) as Error,
    );
    expect(hub.meters()).toEqual([]);
  });

  it('are told of 30 times a second, however fast they talk', async () => {
    const meter = new FakeMeter('one');
    const { hub } = setUp([meter]);
    const key = await connected(meter);
    const told: Readings[] = [];
    let lists = 0;
    const listener: HubListener = { onReadings: (r) => told.push(r), onMeters: () => lists++ };
    hub.listen(listener);
    const from = clock.nowMs();
    for (let i = 0; i < 1000; i++) {
      meter.sendVoltage(i === 999 ? 0xffff : 800);
      await clock.advance(1);
    }
    await clock.advance(200);
    expect(told.length).toBeGreaterThanOrEqual(32);
    expect(told.length).toBeLessThanOrEqual(35);
    expect(lists).toBeLessThanOrEqual(1);
    expect(told.every((r) => r.meterKey === key)).toBe(true);
    const t = told.flatMap((r) => r.channels[0]!.t);
    expect(t).toEqual(Array.from({ length: 1000 }, (_, i) => from + i));
    expect(told.at(-1)!.channels[0]).toMatchObject({ text: '', quantity: 'voltage' });
    expect(told.at(-1)!.channels[0]!.value.at(-1)).toBeNull();
    expect(told.at(-1)!.channels[0]!.value[0]).toBe(12.5);
    expect(hub.lastReadings()).toMatchObject([{ meterKey: key, channels: [{ value: [null] }] }]);
  });
});

describe('the virtual car', () => {
  it('streams through the same drivers, and answers to a hand on its handle', async () => {
    const { hub } = setUp([]);
    await expect(hub.virtualCar('touch-handle')).rejects.toMatchObject({ code: 'conflict' });
    await hub.virtualCar('start');
    await clock.advance(60_000);
    const lowest = async (seconds: number) => {
      const values: number[] = [];
      const stop = hub.listen({
        onReadings: (r) => {
          if (r.meterKey === 'virtual:voltmeter') values.push(...r.channels[0]!.value.map((v) => v!));
        },
      });
      await clock.advance(seconds * 1000);
      stop();
      return Math.min(...values);
    };
    const quiet = await lowest(5);
    await hub.virtualCar('touch-handle');
    expect(await lowest(5)).toBeLessThan(quiet - 0.05);
    await hub.virtualCar('wake');
    expect(hub.meters().map((m) => [m.key, m.source, m.state])).toEqual([
      ['virtual:clamp', 'virtual', 'connected'],
      ['virtual:voltmeter', 'virtual', 'connected'],
    ]);
  });
});
