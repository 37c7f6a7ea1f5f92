import { describe, expect, it } from 'vitest';
import { ZERO_CHECK_HOLDS_MS } from '../../server/messages/zeroCheck.ts';
import { meterRecordSchema } from '../../server/messages/meterRecord.ts';
import type { RawFrames } from '../../server/messages/rawFrames.ts';
import { nightInputOf } from '../../server/capture/nightInput.ts';
import { zeroOf } from '../../server/capture/zeroChecks.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { bench, clock, connected, setUp } from '../helpers/hubFixture.ts';
import { UNKNOWN_CHARACTERISTIC, UNKNOWN_METER_TAUGHT, UnknownMeter } from '../helpers/unknownMeter.ts';

const NIGHT = { caseId: null, kind: 'overnight-test', title: 'Night', zone: null } as const;

/** Currents in steps of 0.01 A, ten a second. */
async function send(meter: FakeMeter, raw: readonly number[]): Promise<void> {
  for (const value of raw) {
    meter.sendCurrent(value);
    await clock.advance(100);
  }
}

describe('a zero check', () => {
  it('before is part of the next recording, once, and one after of the stopped one', async () => {
    const meter = new FakeMeter('m1');
    const { hub, store } = setUp([meter]);
    const key = await connected(meter);
    const checking = hub.checkZero(key, { seconds: 2, recordingId: null });
    await send(meter, [2, 4, 3, 3]);
    await clock.advance(2000);
    const [check] = await checking;
    expect(check).toMatchObject({ quantity: 'current', readings: 4, mean: 0.03 });

    await clock.advance(10_000);
    const { id } = hub.startRecording({ ...NIGHT, meters: [key] });
    await send(meter, [100]);
    await expect(hub.checkZero(key, { seconds: 2, recordingId: null })).rejects.toMatchObject({
      code: 'conflict',
    });
    hub.stopRecording(id);
    const after = hub.checkZero(key, { seconds: 2, recordingId: id });
    await send(meter, [5, 5, 5]);
    await clock.advance(2000);
    await after;

    const checks = store.listZeroChecks(id);
    expect(checks.map((c) => Number(c.mean.toFixed(9)))).toEqual([0.03, 0.05]);
    expect(checks[0]!.atMs).toBeLessThan(-10_000);
    expect(checks[1]!.atMs).toBeGreaterThan(0);
    const current = nightInputOf(store, id).channels.find((c) => c.quantity === 'current')!;
    expect(current.zeroChecks!.map((z) => z.value.toFixed(2))).toEqual(['0.03', '0.05']);
    expect(current.resolution).toBe(0.01);

    const next = hub.startRecording({ ...NIGHT, meters: [key] });
    expect(store.listZeroChecks(next.id)).toEqual([]);
  });

  it('needs live readings, and a meter that is connected', async () => {
    const meter = new FakeMeter('m1');
    const { hub } = setUp([meter]);
    const key = await connected(meter);
    const checking = hub.checkZero(key, { seconds: 2, recordingId: null });
    const refused = expect(checking).rejects.toMatchObject({ code: 'meter-unreachable' });
    await clock.advance(2100);
    await refused;
    await hub.disconnect(key);
    await expect(hub.checkZero(key, { seconds: 2, recordingId: null })).rejects.toMatchObject({
      code: 'conflict',
    });
  });

  it('made before a restart of the server is part of the recording after it', async () => {
    const meter = new FakeMeter('m1');
    const { hub } = setUp([meter]);
    const key = await connected(meter);
    const checking = hub.checkZero(key, { seconds: 2, recordingId: null });
    await send(meter, [2, 4, 3, 3]);
    await clock.advance(2000);
    const checks = await checking;
    await hub.close();

    const { hub: again, store } = bench!.restart();
    expect(again.heldZeroChecks()).toEqual(checks);
    again.connect(key);
    await clock.advance(10);
    const { id } = again.startRecording({ ...NIGHT, meters: [key] });
    expect(store.listZeroChecks(id)).toMatchObject([{ mean: checks[0]!.mean }]);
    expect(again.heldZeroChecks()).toEqual([]);
    await again.close();
  });

  it('waits for two hours, no longer', async () => {
    const meter = new FakeMeter('m1');
    const { hub } = setUp([meter]);
    const key = await connected(meter);
    const checking = hub.checkZero(key, { seconds: 2, recordingId: null });
    await send(meter, [2, 4, 3, 3]);
    await clock.advance(2000);
    await checking;
    await clock.advance(ZERO_CHECK_HOLDS_MS - 10_000);
    expect(hub.heldZeroChecks()).toHaveLength(1);
    await clock.advance(20_000);
    expect(hub.heldZeroChecks()).toEqual([]);
  });

  it.each([
    ['scatter', [0, 80, 0, 80, 0, 80], /not steady.*close the clamp on nothing/],
    ['are far from zero', [900, 901, 900, 901], /shows 9 A, too much for a zero/],
  ])('is refused in words where its readings %s', async (_what, raw, sentence) => {
    const meter = new FakeMeter('m1');
    const { hub } = setUp([meter]);
    const key = await connected(meter);
    const checking = hub.checkZero(key, { seconds: 2, recordingId: null });
    const refused = expect(checking).rejects.toMatchObject({
      code: 'conflict',
      message: expect.stringMatching(sentence) as string,
    });
    await send(meter, raw);
    await clock.advance(2000);
    await refused;
    expect(hub.heldZeroChecks()).toEqual([]);
  });

  it('of a meter whose leads are still at the battery is one of the current alone', async () => {
    const meter = new FakeMeter('m1');
    const { hub } = setUp([meter]);
    const key = await connected(meter);
    const volts = async () => {
      for (let i = 0; i < 4; i++) {
        meter.sendVoltage(1260);
        await clock.advance(100);
      }
    };
    const both = hub.checkZero(key, { seconds: 2, recordingId: null });
    await send(meter, [2, 4, 3, 3]);
    await volts();
    await clock.advance(2000);
    expect((await both).map((c) => c.quantity)).toEqual(['current']);

    const alone = hub.checkZero(key, { seconds: 2, recordingId: null });
    const refused = expect(alone).rejects.toMatchObject({
      message: expect.stringContaining('take its leads off the battery') as string,
    });
    await volts();
    await clock.advance(2000);
    await refused;
  });

  it('takes the clamp of the virtual car off, and puts it back', async () => {
    const { hub } = setUp([]);
    await hub.virtualCar('start');
    await clock.advance(4000); // lamps and buses are still on
    const checking = hub.checkZero('virtual:clamp', { seconds: 3, recordingId: null });
    await clock.advance(4100);
    const [check] = await checking;
    expect(Math.abs(check!.mean)).toBeLessThan(0.001);
    expect(check!.scatter).toBeCloseTo(0.0012, 3);
    await clock.advance(2000);
    const latest = hub
      .lastReadings()
      .find((r) => r.meterKey === 'virtual:clamp')!
      .channels[0]!.value.at(-1)!;
    expect(latest).toBeGreaterThan(0.1);
  });

  it('has the uncertainty of the mean, and never less than the last digit leaves', () => {
    // Standard deviation of 1, 2, 3 is 1; of the mean 1/sqrt(3).
    expect(zeroOf([1, 2, 3], null)).toEqual({ mean: 2, scatter: 1, standardUncertainty: 1 / Math.sqrt(3) });
    expect(zeroOf([0.01, 0.01, 0.01], 0.01).standardUncertainty).toBeCloseTo(0.01 / Math.sqrt(12), 12);
  });
});

it('a recording keeps the record of its meter as it was at the start', async () => {
  const meter = new FakeMeter('m1');
  const { hub, store } = setUp([meter]);
  const key = await connected(meter);
  const record = meterRecordSchema.parse({ name: 'Clamp 2', serial: '4711', apertureMs: 250 });
  store.writeMeterRecord(key, record);
  const { id } = hub.startRecording({ ...NIGHT, meters: [key] });
  store.writeMeterRecord(key, { ...record, serial: 'other' });
  expect(store.listRecordedMeters(id)).toEqual([{ meterKey: key, record }]);
  expect(nightInputOf(store, id).channels[0]!.apertureS).toBe(0.25);
});

describe('a meter that no driver knows', () => {
  it('hands on its frames, is taught, and is then read, after a restart too', async () => {
    const meter = new UnknownMeter('u1');
    const { hub } = setUp([meter as never]);
    const frames: RawFrames[] = [];
    hub.listen({ onFrames: (f) => frames.push(f) });
    const key = `server:${meter.id}`;
    await hub.listenTo(key);
    await clock.advance(10);
    expect(hub.meters()).toMatchObject([{ state: 'connected', channels: [] }]);
    meter.send(12_630);
    await clock.advance(300);
    expect(frames).toMatchObject([
      { meterKey: key, frames: [{ characteristic: UNKNOWN_CHARACTERISTIC, hex: 'aa3156' }] },
    ]);

    hub.taught.add(UNKNOWN_METER_TAUGHT);
    await hub.disconnect(key);
    hub.connect(key);
    await clock.advance(10);
    meter.send(12_481);
    await clock.advance(300);
    expect(hub.meters()).toMatchObject([{ state: 'connected', driver: 'Taught millivolts' }]);
    expect(hub.lastReadings()).toMatchObject([{ channels: [{ value: [12.481] }] }]);

    await hub.close();
    const again = bench!.restart().hub;
    again.connect(key);
    await clock.advance(10);
    expect(again.meters()).toMatchObject([{ state: 'connected', driver: 'Taught millivolts' }]);
    await again.close();
  });

  it('is not read any more once its description is deleted', async () => {
    const meter = new UnknownMeter('u1');
    const { hub } = setUp([meter as never]);
    const { id } = hub.taught.add(UNKNOWN_METER_TAUGHT);
    hub.taught.remove(id);
    hub.connect(`server:${meter.id}`);
    await clock.advance(10);
    expect(hub.meters()[0]!.driver).not.toBe('Taught millivolts');
  });
});
