import { describe, expect, it } from 'vitest';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { startSession } from '../../drivers/session/session.ts';
import type { SessionHooks } from '../../drivers/session/types.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { PackedMeter } from '../helpers/packedMeter.ts';

type Gap = Parameters<SessionHooks['onGap']>[0];

/** A session over a home-made meter of 1000 samples a second, 50 to a packet, on a clock of the test's. */
function bench() {
  const clock = new ManualClock();
  const meter = new PackedMeter({ clock, perPacket: 50 });
  const readings: { counts: number; atMs: number }[] = [];
  const gaps: Gap[] = [];
  const session = startSession({
    link: createReplayLink([meter.peer], clock),
    drivers: DRIVERS,
    meterId: meter.peer.id,
    clock,
    random: () => 0,
    hooks: {
      onState: () => undefined,
      onMeter: () => undefined,
      onReadings: (all) => all.forEach((r) => readings.push({ counts: r.reading.counts, atMs: r.atMs })),
      onGap: (gap) => gaps.push(gap),
      onBadFrame: (sentence) => expect.unreachable(sentence),
    },
  });
  const run = async (ms: number): Promise<void> => {
    for (let i = 0; i < ms / 10; i++) {
      await clock.advance(10);
      meter.sendDue();
    }
  };
  return { clock, meter, readings, gaps, session, run };
}

describe('packets that do not arrive', () => {
  it('leave a gap of their true length, on their channel', async () => {
    const b = bench();
    await b.run(1000);
    b.meter.lose(3);
    await b.run(1000);
    expect(b.gaps).toHaveLength(1);
    const [gap] = b.gaps;
    expect(gap).toMatchObject({ reason: 'packet-lost', channel: b.meter.channelKey });
    // 150 samples are missing: from the last before to the first after are 151 sample intervals of 1 ms.
    expect(gap!.endMs - gap!.startMs).toBeCloseTo(151, 1);
    const inside = b.readings.filter((r) => r.atMs > gap!.startMs && r.atMs < gap!.endMs);
    expect(inside).toEqual([]);
    expect(b.readings.some((r) => r.atMs === gap!.startMs)).toBe(true);
    expect(b.readings.some((r) => r.atMs === gap!.endMs)).toBe(true);
    await b.session.stop();
  });

  it('in a time without connection are part of that gap, which runs from sample to sample', async () => {
    const b = bench();
    await b.run(1000);
    b.meter.drop();
    await b.run(3000);
    expect(b.gaps.map((g) => [g.reason, g.channel])).toEqual([['dropped', undefined]]);
    const [gap] = b.gaps;
    expect(b.readings.some((r) => r.atMs > gap!.startMs && r.atMs < gap!.endMs)).toBe(false);
    expect(b.readings.some((r) => r.atMs === gap!.endMs)).toBe(true);
    await b.session.stop();
  });
});
