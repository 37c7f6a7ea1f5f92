import { describe, expect, it } from 'vitest';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { startSession } from '../../drivers/session/session.ts';
import type { SessionHooks, SessionReading } from '../../drivers/session/types.ts';
import { createCar } from '../../server/simulator/car.ts';
import { SimClock } from '../../server/simulator/clock.ts';
import { makeNight } from '../../server/simulator/night.ts';
import { virtualPeers } from '../../server/simulator/peer.ts';
import type { Scenario } from '../../server/simulator/scenario.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';

const SEED = 6;

async function record(scenario: Scenario, durationS: number) {
  const clock = new SimClock(0);
  const link = createReplayLink(virtualPeers(createCar(scenario, SEED)), clock);
  const meters = ['clamp', 'voltmeter'].map((meterId) => {
    const readings: SessionReading[] = [];
    const gaps: Parameters<SessionHooks['onGap']>[0][] = [];
    const heard = { name: '', driverId: '', channels: [] as string[], refused: 0, readings, gaps };
    const session = startSession({
      link,
      drivers: DRIVERS,
      meterId,
      clock,
      random: () => 0,
      hooks: {
        onState: () => {},
        onMeter: ({ name, driverId, channels }) =>
          Object.assign(heard, { name, driverId, channels: channels.map((c) => `${c.quantity} ${c.step}`) }),
        onReadings: (r) => readings.push(...r),
        onGap: (gap) => gaps.push(gap),
        onBadFrame: () => heard.refused++,
      },
    });
    return { heard, session };
  });
  const settle = () => new Promise((resolve) => setImmediate(resolve));
  await settle();
  for (let next = clock.nextAt(); next !== null && next <= durationS * 1000; next = clock.nextAt()) {
    clock.advanceTo(next);
    await settle();
  }
  await Promise.all(meters.map((m) => m.session.stop()));
  return meters.map((m) => m.heard);
}

describe('the virtual meters on the real path: link, driver, session', () => {
  it('are recognised by their own description and lose nothing', async () => {
    const [clamp, voltmeter] = await record(SCENARIOS['short-night'], 40);
    expect(clamp).toMatchObject({ name: 'Virtual clamp', channels: ['current 0.001'], refused: 0, gaps: [] });
    expect(voltmeter).toMatchObject({ name: 'Virtual voltmeter', channels: ['voltage 0.001'], refused: 0 });
    expect(clamp!.driverId).toBe(voltmeter!.driverId);
    const night = makeNight(SCENARIOS['short-night'], SEED, 40);
    expect(clamp!.readings.map((r) => r.reading.counts)).toEqual([...night.clamp.counts]);
    expect(voltmeter!.readings.map((r) => r.reading.counts)).toEqual([...night.voltmeter.counts]);
    for (const { reading } of [...clamp!.readings, ...voltmeter!.readings]) {
      expect(reading).toMatchObject({ scale: -3, flags: 0 });
    }
  });

  it('leave a gap, and only a gap, where they were out of range', async () => {
    const base = SCENARIOS['short-night'];
    const radio = { ...base.clamp.radio, dropouts: [{ fromS: 12, toS: 24 }] };
    const [clamp, voltmeter] = await record({ ...base, clamp: { ...base.clamp, radio } }, 40);
    expect(clamp!.gaps).toHaveLength(1);
    const [gap] = clamp!.gaps;
    expect(gap!.reason).toBe('dropped');
    expect(gap!.startMs).toBeGreaterThan(11_900);
    expect(gap!.startMs).toBeLessThan(12_000);
    expect(gap!.endMs).toBeGreaterThan(24_000);
    expect(gap!.endMs).toBeLessThan(40_000);
    const inside = clamp!.readings.filter((r) => r.atMs > gap!.startMs && r.atMs < gap!.endMs);
    expect(inside).toEqual([]);
    expect(voltmeter!.gaps).toEqual([]);
  });
});
