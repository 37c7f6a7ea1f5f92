import { expect, test } from 'vitest';
import { monotonicMs } from '../../drivers/links/node/clock.ts';
import { bench, meter, STREAM, until } from './fixture.ts';

test.each([
  { meters: 1, hz: 10, seconds: 2 },
  { meters: 1, hz: 200, seconds: 4 },
  { meters: 3, hz: 200, seconds: 2 },
])('$meters meter(s) at $hz a second: nothing lost, in order, stamped on arrival', async (load) => {
  const names = Array.from({ length: load.meters }, (_, i) => `m${i}`);
  const b = await bench(names.map((name) => meter(name)));
  const received = await Promise.all(
    names.map(async (name) => {
      const connection = await b.connect(name);
      const list: { number: number; sentMs: number; atMs: number; handedOverMs: number }[] = [];
      await connection.subscribe(STREAM, (bytes, atMs) => {
        const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
        const [number, sentMs] = [view.getUint32(0, true), view.getFloat64(4, true)];
        list.push({ number, sentMs, atMs, handedOverMs: monotonicMs() });
      });
      return list;
    }),
  );

  const count = load.hz * load.seconds;
  const startMs = monotonicMs();
  let sent = 0;
  const timer = setInterval(() => {
    for (; sent < Math.min(count, ((monotonicMs() - startMs) * load.hz) / 1000); sent++) {
      const frame = new DataView(new ArrayBuffer(20));
      frame.setUint32(0, sent, true);
      frame.setFloat64(4, monotonicMs(), true);
      for (const name of names) b.rig.peripheral(name).notify(STREAM, new Uint8Array(frame.buffer));
    }
  }, 5);
  await until(() => received.every((list) => list.length >= count), load.seconds * 1000 + 5000);
  clearInterval(timer);

  for (const list of received) {
    expect(list.map((r) => r.number)).toEqual(Array.from({ length: count }, (_, i) => i));
    for (const r of list) {
      // One clock for both processes: a stamp lies between the sending and the handing over.
      expect(r.atMs).toBeGreaterThanOrEqual(r.sentMs);
      expect(r.atMs).toBeLessThanOrEqual(r.handedOverMs);
    }
  }
  const sorted = (values: number[]): number[] => values.sort((x, y) => x - y);
  const toStamp = sorted(received.flat().map((r) => r.atMs - r.sentMs));
  const toCaller = sorted(received.flat().map((r) => r.handedOverMs - r.atMs));
  const at = (values: number[], part: number): string => values[Math.floor(values.length * part)]!.toFixed(1);
  console.log(
    `${load.meters} x ${load.hz}/s: ${received.flat().length} received, air to stamp p50 ${at(toStamp, 0.5)} ` +
      `p99 ${at(toStamp, 0.99)} ms, stamp to caller p50 ${at(toCaller, 0.5)} p99 ${at(toCaller, 0.99)} ms`,
  );
  // Packets wait for a connection event, 22.5 ms apart; the rest is this machine's load.
  expect(toStamp[Math.floor(toStamp.length / 2)]).toBeLessThan(100);
});
