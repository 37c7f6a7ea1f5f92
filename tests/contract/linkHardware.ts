import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { channelKey } from '../../drivers/core/channelKey.ts';
import type { LinkSubject } from './linkSubject.ts';

export interface HardwareHarness {
  readonly subject: LinkSubject;
  /** The meter's id on this link. It must be switched on, in range, and not connected elsewhere. */
  readonly id: string;
  close(): Promise<void>;
}

const SEEN_MS = 20_000;
const CONNECT_MS = 20_000;
const LISTEN_MS = 4_000;

/**
 * The part of the link contract that needs no say over the meter, so that a real one can be held to it: what
 * it sends is its own business, but nothing may hang, come out of order, or stop working the second time.
 */
export function hardwareLinkContract(name: string, makeHarness: () => Promise<HardwareHarness>): void {
  describe(`a meter as it is: ${name}`, { timeout: 120_000 }, () => {
    let h: HardwareHarness;
    beforeEach(async () => {
      h = await makeHarness();
    });
    afterEach(() => h.close());

    async function untilSeen(): Promise<void> {
      await h.subject.startFind([]);
      for (const by = performance.now() + SEEN_MS; performance.now() < by; await pause(50)) {
        if ((await h.subject.seen()).some((m) => m.id === h.id)) {
          expect(await h.subject.stopFind()).toEqual({ value: null });
          return;
        }
      }
      expect.unreachable('the meter was not seen; is it switched on and free?');
    }

    async function open() {
      const opened = await h.subject.connect(h.id, CONNECT_MS, null);
      if ('error' in opened) throw new Error(`connecting: ${opened.error}`);
      return opened.value;
    }

    test('is seen, connects, and lists characteristics with places of their own', async () => {
      await untilSeen();
      const { characteristics, connection } = await open();
      expect(characteristics.length).toBeGreaterThan(0);
      const places = characteristics.map((c) => `${c.service} ${c.characteristic} ${c.index}`);
      expect(new Set(places).size).toBe(places.length);
      expect(await h.subject.closeConnection(connection)).toEqual({ value: null });
    });

    test('answers every read with bytes or a refusal', async () => {
      await untilSeen();
      const { characteristics, connection } = await open();
      for (const c of characteristics.filter((each) => each.canRead)) {
        const answer = await h.subject.read(connection, c);
        if ('error' in answer) expect(answer.error).toBe('refused');
        else expect(answer.value.length).toBeGreaterThan(0);
      }
      await h.subject.closeConnection(connection);
    });

    test('lets itself be subscribed; what it sends is stamped in order', async () => {
      await untilSeen();
      const { characteristics, connection } = await open();
      const streams = characteristics.filter((c) => c.canNotify);
      const fromMs = await h.subject.nowMs();
      for (const c of streams) {
        const answer = await h.subject.subscribe(connection, c);
        if ('error' in answer) expect(answer.error).toBe('refused');
      }
      await pause(LISTEN_MS);
      for (const c of streams) {
        const received = await h.subject.received(connection, c);
        const times = received.map((r) => r.atMs);
        console.log(`${channelKey(c.characteristic, [])}: ${times.length} in ${LISTEN_MS / 1000} s`);
        expect([...times].sort((a, b) => a - b)).toEqual(times);
        if (times.length > 0) expect(times[0]).toBeGreaterThanOrEqual(fromMs);
      }
      expect(await h.subject.drops(connection)).toEqual([]);
      await h.subject.closeConnection(connection);
    });

    test('is connected to again and again', async () => {
      await untilSeen();
      for (let round = 0; round < 3; round++) {
        const { connection, characteristics } = await open();
        expect(characteristics.length).toBeGreaterThan(0);
        expect(await h.subject.closeConnection(connection)).toEqual({ value: null });
        expect(await h.subject.drops(connection)).toEqual([]);
      }
    });
  });
}

function pause(ms: number): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve, ms));
}
