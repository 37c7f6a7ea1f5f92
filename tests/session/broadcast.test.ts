import { beforeEach, describe, expect, it } from 'vitest';
import type { Secrets } from '../../drivers/core/driver.ts';
import { encodeInteger } from '../../drivers/core/integers.ts';
import { LinkError } from '../../drivers/core/errors.ts';
import type { Link, ListenOptions } from '../../drivers/core/link.ts';
import { textOf } from '../../drivers/core/reading.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import { BTHOME_SERVICE } from '../../drivers/meters/bthome/fields.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { startBroadcastSession } from '../../drivers/session/broadcast.ts';
import { advertisementOf } from '../helpers/broadcastCase.ts';
import { ManualClock } from '../helpers/manualClock.ts';

const ADDRESS = 'c0:de:00:00:00:01';

function bench() {
  const clock = new ManualClock();
  const log: string[] = [];
  const readings: { key: string; text: string; atMs: number }[] = [];
  let listening: { options: ListenOptions; fail: (error: LinkError) => void } | null = null;
  let listens = 0;
  const link: Link = {
    kind: 'replay',
    find: () => Promise.resolve(),
    connect: () => Promise.reject(new LinkError('refused', 'It takes no connection.')),
    listen: (options) => {
      listens++;
      return new Promise((resolve, reject) => {
        listening = { options, fail: reject };
        options.signal.addEventListener('abort', resolve);
      });
    },
  };
  const start = (given: Partial<Parameters<typeof startBroadcastSession>[0]> = {}) =>
    startBroadcastSession({
      link,
      drivers: DRIVERS,
      meterId: ADDRESS,
      clock,
      random: () => 0,
      hooks: {
        onState: (state, sentence) => log.push(sentence ? `${state}: ${sentence}` : state),
        onMeter: (m) => log.push(`meter ${m.name}, ${m.driverId}, ${m.channels.map((c) => c.key).join(' ')}`),
        onReadings: (all) =>
          readings.push(
            ...all.map(({ key, reading, atMs }) => ({
              key,
              text: textOf(reading.counts, reading.scale),
              atMs,
            })),
          ),
        onGap: (g) => log.push(`gap ${g.startMs}..${g.endMs} ${g.reason}`),
        onBadFrame: (sentence) => log.push(`bad: ${sentence}`),
        onDetails: (d) => log.push(`details: cell ${d.cellPercent} %`),
      },
      ...given,
    });
  const hear = (bytes: readonly number[], id = ADDRESS, uuid = BTHOME_SERVICE): void =>
    listening!.options.onAdvertisement(
      advertisementOf(id, uuid, Uint8Array.from(bytes), clock.nowMs(), 'Beacon'),
    );
  let packet = 0;
  const volts = (millivolts: number): void =>
    hear([0x40, 0x00, packet++ & 0xff, 0x0c, ...encodeInteger(millivolts, 2, false)]);
  return {
    clock,
    log,
    readings,
    start,
    hear,
    volts,
    repeat: () => packet--,
    fail: (error: LinkError) => listening!.fail(error),
    listens: () => listens,
  };
}

describe('a session with a meter that only broadcasts', () => {
  let b: ReturnType<typeof bench>;
  beforeEach(() => {
    b = bench();
  });

  it('names the meter with its first reading, and drops repetitions and other meters', async () => {
    b.start();
    await b.clock.advance(100);
    b.volts(12630);
    b.repeat();
    await b.clock.advance(20);
    b.volts(12630);
    b.hear([0x40, 0x0c, 0x01, 0x00], 'c0:de:00:00:00:02');
    b.hear([1, 2, 3], ADDRESS, uuid16(0x180f));
    await b.clock.advance(980);
    b.volts(12628);
    expect(b.log).toEqual([
      'connecting: Listening for the meter.',
      'meter Beacon, bthome, 0c.0',
      'connected',
    ]);
    expect(b.readings).toEqual([
      { key: '0c.0', text: '12.630', atMs: 100 },
      { key: '0c.0', text: '12.628', atMs: 1100 },
    ]);
  });

  it('is told again of a meter that brings another channel', async () => {
    b.start();
    await b.clock.advance(10);
    b.volts(12630);
    b.hear([0x40, 0x00, 200, 0x5d, 0xe7, 0xff]);
    expect(b.log.slice(-1)).toEqual(['meter Beacon, bthome, 0c.0 5d.0']);
    expect(b.readings.at(-1)).toMatchObject({ key: '5d.0', text: '-0.025' });
  });

  it('calls a pause in the broadcasts silence, and tells the gap when it is over', async () => {
    b.start();
    await b.clock.advance(1000);
    b.volts(12630);
    await b.clock.advance(15_000);
    expect(b.log.at(-1)).toBe('reconnecting: The meter has not been heard for 15 s.');
    await b.clock.advance(4000);
    b.volts(12629);
    expect(b.log.slice(-2)).toEqual(['connected', 'gap 1000..20000 silent']);
    await b.clock.advance(1000);
    b.volts(12629);
    expect(b.log.filter((l) => l.startsWith('gap'))).toHaveLength(1);
  });

  it('learns to wait for a meter that speaks once a minute, and is not put off by an absence', async () => {
    b.start();
    const gaps = () => b.log.filter((l) => l.startsWith('gap')).length;
    const minutes = async (count: number): Promise<void> => {
      for (let i = 0; i < count; i++) {
        await b.clock.advance(60_000);
        b.volts(12630);
      }
    };
    await minutes(4); // the first intervals are longer than its patience with a stranger
    expect(gaps()).toBe(3);
    await minutes(20);
    expect(gaps()).toBe(3);
    await b.clock.advance(3_600_000);
    expect(b.log.at(-1)).toBe('reconnecting: The meter has not been heard for 240 s.');
    await minutes(5);
    expect(gaps()).toBe(4);
    await b.clock.advance(241_000);
    expect(b.log.at(-1)).toBe('reconnecting: The meter has not been heard for 240 s.');
  });

  it('listens again after the radio has failed', async () => {
    b.start();
    await b.clock.advance(1000);
    b.volts(12630);
    b.fail(new LinkError('link-died', 'The Bluetooth process stopped.'));
    await b.clock.advance(2000);
    expect(b.listens()).toBe(2);
    b.volts(12629);
    expect(b.log.slice(-3)).toEqual([
      'reconnecting: The Bluetooth process stopped.',
      'connected',
      'gap 1000..3000 link-died',
    ]);
  });

  it('waits longer after each failure', async () => {
    b.start();
    const at: number[] = [];
    for (let i = 0; i < 6; i++) {
      await b.clock.advance(1);
      b.fail(new LinkError('no-bluetooth', 'The adapter is off.'));
      const before = b.listens();
      const fromMs = b.clock.nowMs();
      while (b.listens() === before) await b.clock.advance(100);
      at.push(b.clock.nowMs() - fromMs);
    }
    expect(at).toEqual([500, 1000, 2000, 4000, 8000, 16_000]);
  });

  it('says what is missing for an encrypted meter, and goes on once', async () => {
    b.start();
    await b.clock.advance(10);
    b.hear([0x41, 1, 2, 3, 4, 0, 0, 0, 5, 6, 7, 8]);
    expect(b.log).toContain(
      'connecting: The meter encrypts what it broadcasts, and its bind key is not known.',
    );
    expect(b.readings).toEqual([]);
  });

  it('decrypts with the key that it is given', async () => {
    const asked: Uint8Array[] = [];
    const secrets: Secrets = {
      key: new Uint8Array(16),
      decrypt: (...given) => {
        asked.push(...given);
        return Uint8Array.of(0x0c, 0x56, 0x31);
      },
    };
    b.start({ secrets });
    await b.clock.advance(10);
    b.hear([0x41, 9, 9, 9, 1, 0, 0, 0, 5, 6, 7, 8]);
    expect(b.readings.map((r) => r.text)).toEqual(['12.630']);
    expect(asked.map((a) => a.length)).toEqual([16, 13, 3, 4]);
  });

  it('tells the charge of the meter’s own cell when it changes', async () => {
    b.start();
    await b.clock.advance(10);
    for (const [id, percent] of [
      [1, 93],
      [2, 93],
      [3, 92],
    ] as const) {
      b.hear([0x40, 0x00, id, 0x01, percent, 0x0c, 0x56, 0x31]);
    }
    expect(b.log.filter((l) => l.startsWith('details'))).toEqual([
      'details: cell 93 %',
      'details: cell 92 %',
    ]);
  });

  it('fails in one sentence where the link cannot listen', async () => {
    const deaf: Link = {
      kind: 'browser',
      find: () => Promise.resolve(),
      connect: () => Promise.reject(new LinkError('refused', '')),
    };
    const session = b.start({ link: deaf });
    await b.clock.advance(10);
    expect(session.state).toBe('failed');
    expect(b.log).toEqual(['failed: This radio cannot hear meters that only broadcast.']);
  });

  it('closes an open gap when it is stopped, and is silent afterwards', async () => {
    const session = b.start();
    await b.clock.advance(100);
    b.volts(12630);
    await b.clock.advance(20_000);
    await session.stop();
    expect(b.log.slice(-2)).toEqual(['gap 100..20100 silent', 'stopped: Stopped.']);
    b.volts(12630);
    await b.clock.advance(60_000);
    expect(b.log.at(-1)).toBe('stopped: Stopped.');
    expect(b.readings).toHaveLength(1);
  });
});
