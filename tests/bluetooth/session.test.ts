import { expect, test } from 'vitest';
import { processClock } from '../../drivers/links/node/clock.ts';
import type { CharacteristicRef } from '../../drivers/core/link.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import type { ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { startSession } from '../../drivers/session/session.ts';
import type { GapReason } from '../../drivers/session/types.ts';
import { bench, until } from './fixture.ts';
import { STATUS } from './hci.ts';

const VOLTAGE: CharacteristicRef = { service: uuid16(0x181a), characteristic: uuid16(0x2b18), index: 0 };
const EVERY_MS = 50;

/** Says 12.59375 V (0x0326 sixty-fourths) twenty times a second while it is connected. */
const voltmeter: ReplayPeer = {
  id: 'v',
  name: 'Voltmeter',
  services: [VOLTAGE.service],
  characteristics: [
    {
      ...VOLTAGE,
      canRead: false,
      canNotify: true,
      canWrite: false,
      descriptors: [],
      descriptorValues: [],
    },
  ],
  inRange: () => true,
  connected(air) {
    const timer = setInterval(() => air.notify(VOLTAGE, Uint8Array.of(0x26, 0x03)), EVERY_MS);
    return () => clearInterval(timer);
  },
  read: () => Uint8Array.of(),
};

test('a session outlives a drop, the death of the radio process and an adapter that is off', async () => {
  const b = await bench([voltmeter]);
  const readings: { counts: number; atMs: number }[] = [];
  const gaps: { startMs: number; endMs: number; reason: GapReason }[] = [];
  const session = startSession({
    link: b.link,
    drivers: DRIVERS,
    meterId: b.rig.peripheral('v').address,
    clock: processClock,
    random: () => 0.5,
    backoffMs: { first: 200, longest: 800 },
    hooks: {
      onState: () => undefined,
      onMeter: () => undefined,
      onReadings: (all) => all.forEach((r) => readings.push({ counts: r.reading.counts, atMs: r.atMs })),
      onGap: (gap) => gaps.push(gap),
      onBadFrame: (sentence) => expect.unreachable(sentence),
    },
  });
  const more = async (): Promise<void> => {
    const from = readings.length;
    await until(() => readings.length >= from + 10);
  };

  await more();
  b.rig.peripheral('v').drop();
  await until(() => gaps.length === 1);
  await more();
  b.rig.peripheral('v').drop(STATUS.supervisionTimeout);
  await until(() => gaps.length === 2);
  await more();
  b.rig.peripheral('v').drop(STATUS.peerPowersOff);
  await until(() => gaps.length === 3);
  await more();
  b.rig.crashProgram();
  await until(() => gaps.length === 4);
  await more();
  b.rig.set({ up: false });
  await until(() => b.link.status().reason === 'adapter-off');
  b.rig.set({ up: true });
  await until(() => gaps.length === 5);
  await more();
  await session.stop();

  expect(gaps.map((g) => g.reason)).toEqual([
    'meter-ended',
    'dropped',
    'meter-ended',
    'link-died',
    'dropped',
  ]);
  expect(new Set(readings.map((r) => r.counts)).size).toBe(1);
  // Every long pause in the readings is one of the gaps, and every gap is a pause in the readings.
  const pauses = readings.flatMap(({ atMs }, i) => {
    const lastMs = readings[i - 1]?.atMs ?? atMs;
    return atMs - lastMs > 1000 ? [{ startMs: lastMs, endMs: atMs }] : [];
  });
  expect(gaps.map(({ startMs, endMs }) => ({ startMs, endMs }))).toEqual(expect.arrayContaining(pauses));
  for (const gap of gaps) {
    expect(readings.some((r) => r.atMs > gap.startMs && r.atMs < gap.endMs)).toBe(false);
  }
});
