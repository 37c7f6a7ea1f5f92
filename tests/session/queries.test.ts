import { describe, expect, it } from 'vitest';
import { LinkError } from '../../drivers/core/errors.ts';
import type { Connection, Link } from '../../drivers/core/link.ts';
import { textOf } from '../../drivers/core/reading.ts';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import type { ReplayAir, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { UART_NOTIFY, UART_SERVICE, UART_WRITE } from '../../drivers/meters/byte-stream/driver.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { startSession } from '../../drivers/session/session.ts';
import type { SessionOptions } from '../../drivers/session/types.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { seeded } from '../helpers/seeded.ts';

const NOTIFY = { service: UART_SERVICE, characteristic: UART_NOTIFY, index: 0 };
const plain = (characteristic: string, can: { canNotify?: boolean; canWrite?: boolean }) => ({
  service: UART_SERVICE,
  characteristic,
  index: 0,
  canRead: false,
  canNotify: false,
  canWrite: false,
  descriptors: [],
  descriptorValues: [],
  ...can,
});

/** A meter that answers "READ?" with the value of a signal at that moment, cut into two notifications. */
function bench(
  given: Partial<SessionOptions>,
  {
    answer = () => '+1.2630E+01 V',
    canWrite = true,
    link = (l) => l,
  }: { answer?: (ms: number) => string; canWrite?: boolean; link?: (l: Link) => Link } = {},
) {
  const clock = new ManualClock();
  const asked: { text: string; atMs: number }[] = [];
  const readings: { text: string; atMs: number }[] = [];
  const states: string[] = [];
  let air: ReplayAir | null = null;
  const peer: ReplayPeer = {
    id: 'm',
    name: 'Bench meter',
    services: [],
    characteristics: [plain(UART_WRITE, { canWrite }), plain(UART_NOTIFY, { canNotify: true })],
    inRange: () => true,
    connected: (opened) => {
      air = opened;
      return () => (air = null);
    },
    read: () => Uint8Array.of(),
    written(_, bytes) {
      asked.push({ text: Buffer.from(bytes).toString(), atMs: clock.nowMs() });
      const line = Uint8Array.from(Buffer.from(`${answer(clock.nowMs())}\r\n`));
      air?.notify(NOTIFY, line.subarray(0, 5));
      air?.notify(NOTIFY, line.subarray(5));
    },
  };
  const session = startSession({
    link: link(createReplayLink([peer], clock)),
    drivers: DRIVERS,
    meterId: 'm',
    clock,
    random: seeded(5),
    ...given,
    hooks: {
      onState: (state, sentence) => states.push(sentence ? `${state}: ${sentence}` : state),
      onMeter: () => undefined,
      onReadings: (all) =>
        readings.push(
          ...all.map(({ reading, atMs }) => ({ text: textOf(reading.counts, reading.scale), atMs })),
        ),
      onGap: () => undefined,
      onBadFrame: (sentence) => expect.unreachable(sentence),
    },
  });
  return { clock, asked, readings, states, session };
}

describe('a meter that answers on request', () => {
  it('is asked once in each interval, at a random moment of it', async () => {
    const b = bench({ query: { text: 'READ?', intervalMs: 500 } });
    await b.clock.advance(100_000);
    expect(new Set(b.asked.map((a) => a.text))).toEqual(new Set(['READ?\n']));
    const intervals = b.asked.map((a) => Math.floor(a.atMs / 500));
    expect(intervals).toEqual(Array.from({ length: 200 }, (_, i) => i));
    const phases = b.asked.map((a) => (a.atMs % 500) / 500);
    const mean = phases.reduce((s, p) => s + p, 0) / phases.length;
    const variance = phases.reduce((s, p) => s + (p - mean) ** 2, 0) / phases.length;
    // Uniform in [0, 1): mean 1/2, variance 1/12.
    expect(Math.abs(mean - 0.5)).toBeLessThan(0.06);
    expect(Math.abs(variance - 1 / 12)).toBeLessThan(0.015);
    expect(b.readings.length).toBeGreaterThanOrEqual(199);
    expect(b.readings.every((r) => r.text === '12.630')).toBe(true);
    await b.session.stop();
    const before = b.asked.length;
    await b.clock.advance(5000);
    expect(b.asked).toHaveLength(before);
  });

  it('shows no ghost of a pulse train that is faster than the questions', async () => {
    // Pulses of 40 ms each 260 ms; a sample each 500 ms would see them as a train of 6.5 s.
    const high = (ms: number): boolean => ms % 260 < 40;
    const b = bench(
      { query: { text: 'READ?', intervalMs: 500 } },
      { answer: (ms) => (high(ms) ? '1.00 A' : '0.00 A') },
    );
    await b.clock.advance(2_600_000);
    await b.session.stop();
    const line = (samples: readonly { value: number; atMs: number }[], periodMs: number): number => {
      let [re, im] = [0, 0];
      for (const { value, atMs } of samples) {
        re += value * Math.cos((2 * Math.PI * atMs) / periodMs);
        im += value * Math.sin((2 * Math.PI * atMs) / periodMs);
      }
      return Math.hypot(re, im) / samples.length;
    };
    const asked = b.readings.map((r) => ({ value: Number(r.text), atMs: r.atMs }));
    const evenly = Array.from({ length: 5200 }, (_, i) => ({
      value: high(i * 500) ? 1 : 0,
      atMs: i * 500,
    }));
    // 40 in 260 ms: a fundamental of sin(pi 40/260)/pi = 0.148.
    expect(line(evenly, 6500)).toBeGreaterThan(0.14);
    expect(line(asked, 6500)).toBeLessThan(0.02);
    expect(line(asked, 260)).toBeGreaterThan(0.13); // and the true one is there
    const average = asked.reduce((s, a) => s + a.value, 0) / asked.length;
    expect(Math.abs(average - 40 / 260)).toBeLessThan(0.02);
  });

  it('is asked without a response where its module takes no other writes', async () => {
    const writes: boolean[] = [];
    const onlyWithout = (inner: Link): Link => ({
      ...inner,
      connect: async (...args) => {
        const opened = await inner.connect(...args);
        return {
          ...opened,
          write: (ref, bytes, withResponse): ReturnType<Connection['write']> => {
            writes.push(withResponse);
            if (withResponse) return Promise.reject(new LinkError('refused', 'Not permitted.'));
            return opened.write(ref, bytes, false);
          },
        };
      },
    });
    const b = bench({ query: { text: 'READ?\n', intervalMs: 1000 } }, { link: onlyWithout });
    await b.clock.advance(5000);
    expect(writes).toEqual([true, false, false, false, false]);
    expect(b.asked[0]!.text).toBe('READ?\n');
  });

  it('that offers nothing to write to fails in one sentence', async () => {
    const b = bench({ query: { text: 'READ?', intervalMs: 1000 } }, { canWrite: false });
    await b.clock.advance(100);
    expect(b.states.at(-1)).toBe('failed: This meter offers nothing that a question can be written to.');
  });
});

describe('a bare number', () => {
  it.each([
    [{}, []],
    [{ unitless: 'current' as const }, ['0.250', '0.250', '0.250']],
  ])('with %o', async (given, texts) => {
    const b = bench({ query: { text: 'READ?', intervalMs: 1000 }, ...given }, { answer: () => '+0.250' });
    await b.clock.advance(4000);
    expect(b.readings.map((r) => r.text)).toEqual(texts);
  });
});
