import { beforeEach, describe, expect, it } from 'vitest';
import { LinkError } from '../../drivers/core/errors.ts';
import type { Link } from '../../drivers/core/link.ts';
import { valueOf } from '../../drivers/core/reading.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import type { ReplayAir, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { startSession } from '../../drivers/session/session.ts';
import type { Session } from '../../drivers/session/types.ts';
import { ManualClock } from '../helpers/manualClock.ts';

const VOLTAGE = { service: uuid16(0x181a), characteristic: uuid16(0x2b18), index: 0 };

function bench(options: { canNotify?: boolean; characteristic?: string } = {}) {
  const clock = new ManualClock();
  const ref = { ...VOLTAGE, characteristic: options.characteristic ?? VOLTAGE.characteristic };
  const canNotify = options.canNotify ?? true;
  const log: string[] = [];
  const readings: { key: string; volts: number; atMs: number }[] = [];
  const world = { air: null as ReplayAir | null, inRange: true, connects: 0, reads: 0 };
  const peer: ReplayPeer = {
    id: 'm',
    name: 'Bench meter',
    services: [],
    characteristics: [
      { ...ref, canRead: !canNotify, canNotify, canWrite: false, descriptors: [], descriptorValues: [] },
    ],
    inRange: () => world.inRange,
    connected(air) {
      world.connects++;
      world.air = air;
      return () => (world.air = null);
    },
    read() {
      world.reads++;
      return Uint8Array.of(0x26, 0x03);
    },
  };
  const start = (link: Link = createReplayLink([peer], clock)): Session =>
    startSession({
      link,
      drivers: DRIVERS,
      meterId: 'm',
      clock,
      random: () => 0,
      hooks: {
        onState: (state, sentence) => log.push(sentence ? `${state}: ${sentence}` : state),
        onMeter: (m) => log.push(`meter ${m.name}, ${m.driverId}, ${m.channels.map((c) => c.key).join(' ')}`),
        onReadings: (items) =>
          readings.push(
            ...items.map((i) => ({
              key: i.key,
              volts: valueOf(i.reading.counts, i.reading.scale),
              atMs: i.atMs,
            })),
          ),
        onGap: (g) => log.push(`gap ${g.startMs}..${g.endMs} ${g.reason}`),
        onBadFrame: (sentence) => log.push(`bad: ${sentence}`),
      },
    });
  const send = (...bytes: number[]): void => world.air?.notify(ref, Uint8Array.from(bytes));
  return { clock, log, readings, world, start, send };
}

describe('a meter session', () => {
  let b: ReturnType<typeof bench>;
  beforeEach(() => {
    b = bench();
  });

  it('connects, names the meter and passes readings on with their arrival time', async () => {
    b.start();
    await b.clock.advance(100);
    b.send(0x26, 0x03);
    await b.clock.advance(100);
    b.send(0x16, 0x03);
    expect(b.log).toEqual([
      'connecting: Connecting.',
      'meter Bench meter, sig-electrical, 2b18.0',
      'connected',
    ]);
    expect(b.readings).toEqual([
      { key: '2b18.0', volts: 12.59375, atMs: 100 },
      { key: '2b18.0', volts: 12.34375, atMs: 200 },
    ]);
  });

  it('refuses a broken frame in one sentence and goes on', async () => {
    b.start();
    await b.clock.advance(10);
    b.send(0x26);
    b.send(0x26, 0x03);
    expect(b.log.at(-1)).toBe('bad: Voltage has 2 octets, not 1.');
    expect(b.readings).toHaveLength(1);
  });

  it('connects again after a drop, and tells the gap once readings are back', async () => {
    b.start();
    await b.clock.advance(1000);
    b.send(0x26, 0x03);
    await b.clock.advance(50);
    b.world.air?.drop('radio lost');
    await b.clock.advance(3000);
    expect(b.world.connects).toBe(2);
    b.send(0x16, 0x03);
    expect(b.log.slice(-3)).toEqual([
      'reconnecting: The meter dropped the connection.',
      'connected',
      'gap 1000..4050 dropped',
    ]);
    b.send(0x16, 0x03);
    expect(b.log.filter((l) => l.startsWith('gap'))).toHaveLength(1);
  });

  it('tells a meter that switches itself off from one that is no longer heard', async () => {
    b.start();
    await b.clock.advance(1000);
    b.send(0x26, 0x03);
    b.world.air?.drop('switching off', 'meter');
    await b.clock.advance(3000);
    b.send(0x26, 0x03);
    b.world.air?.drop('out of range', 'radio');
    await b.clock.advance(3000);
    b.send(0x26, 0x03);
    expect(b.log.filter((l) => l.startsWith('gap'))).toEqual([
      'gap 1000..4000 meter-ended',
      'gap 4000..7000 dropped',
    ]);
    expect(b.log).toContain('reconnecting: The meter ended the connection; it may have switched itself off.');
  });

  it('waits longer after each failure, up to the longest wait', async () => {
    const tries: number[] = [];
    const absent: Link = {
      kind: 'replay',
      find: () => Promise.resolve(),
      connect: () => {
        tries.push(b.clock.nowMs());
        return Promise.reject(new LinkError('not-found', 'Not in range.'));
      },
    };
    b.start(absent);
    await b.clock.advance(150_000);
    const waits = tries.slice(1).map((t, i) => t - tries[i]!);
    expect(waits.slice(0, 9)).toEqual([500, 1000, 2000, 4000, 8000, 16_000, 30_000, 30_000, 30_000]);
  });

  it('treats silence as a lost connection', async () => {
    b.start();
    await b.clock.advance(100);
    b.send(0x26, 0x03);
    await b.clock.advance(16_000);
    expect(b.world.connects).toBe(2);
    b.send(0x26, 0x03);
    expect(b.log.at(-1)).toBe('gap 100..16100 silent');
  });

  it('gives up on a connect that never ends, and tries again', async () => {
    let calls = 0;
    const hanging: Link = {
      kind: 'replay',
      find: () => Promise.resolve(),
      connect: () => (calls++, new Promise(() => undefined)),
    };
    const session = b.start(hanging);
    await b.clock.advance(50_000);
    expect(calls).toBe(3);
    expect(b.log.filter((l) => l.includes('longer than'))).toHaveLength(2);
    await session.stop();
    expect(session.state).toBe('stopped');
  });

  it('reads a characteristic that cannot notify, one read at a time', async () => {
    b = bench({ canNotify: false });
    b.start();
    await b.clock.advance(2_600);
    expect(b.world.reads).toBe(6);
    expect(b.readings.map((r) => r.atMs)).toEqual([0, 500, 1000, 1500, 2000, 2500]);
  });

  it('says that no driver knows a meter, and stops trying', async () => {
    b = bench({ characteristic: uuid16(0x2a37) });
    const session = b.start();
    await b.clock.advance(60_000);
    expect(session.state).toBe('failed');
    expect(b.log.at(-1)).toBe('failed: No driver knows this meter.');
    expect(b.world.connects).toBe(1);
  });

  it('closes an open gap when it is stopped, and is silent afterwards', async () => {
    const session = b.start();
    await b.clock.advance(100);
    b.send(0x26, 0x03);
    b.world.inRange = false;
    b.world.air?.drop('out of range');
    await b.clock.advance(5_000);
    const stopping = session.stop();
    await b.clock.advance(100);
    await stopping;
    expect(b.log.slice(-2)).toEqual(['gap 100..5100 dropped', 'stopped: Stopped.']);
    const before = b.log.length;
    await b.clock.advance(60_000);
    expect(b.log).toHaveLength(before);
  });
});
