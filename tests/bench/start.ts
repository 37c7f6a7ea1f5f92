import { io, type Socket } from 'socket.io-client';
import { processClock } from '../../drivers/links/node/clock.ts';
import type { Readings } from '../../server/messages/socket.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { createWebBench } from '../helpers/webBench.ts';
import { target, type Table, type Topic } from './bench.ts';

const WATCHERS = 20;
const SECONDS = 10;
const EVERY_MS = 5;
const BATCH_MS = 50;

export interface Latency {
  /** Milliseconds from the reading at the server to the socket of a page; of all watchers. */
  readonly median: number;
  readonly p99: number;
  readonly worst: number;
  readonly readings: number;
  /** Readings in the database after the run. */
  readonly stored: number;
}

/** One meter of two channels at 200 readings a second, recorded in durable batches, with pages that watch. */
export async function measureLatency(seconds = SECONDS, watchers = WATCHERS): Promise<Latency> {
  const meter = new FakeMeter('quick');
  const bench = await createWebBench({
    meters: [meter],
    hub: { recorder: { commitEveryMs: BATCH_MS } },
  });
  const sockets: Socket[] = [];
  try {
    const { hub } = bench;
    hub.connect('server:quick');
    await until(() => meter.isConnected);
    meter.sendVoltage(800);
    meter.sendCurrent(5);
    await until(() => hub.meters().some((m) => m.channels.length === 2));
    const { id } = hub.startRecording({
      caseId: null,
      kind: 'overnight-test',
      title: 'Latency',
      zone: null,
      meters: ['server:quick'],
    });
    const late: number[] = [];
    let counts = false;
    for (let k = 0; k < watchers; k++) {
      const socket = io(bench.url, { transports: ['websocket'] });
      sockets.push(socket);
      socket.on('readings', ({ channels }: Readings) => {
        if (!counts) return;
        const now = processClock.nowMs();
        for (const { t } of channels) for (const at of t) late.push(now - at);
      });
    }
    await until(() => sockets.every((s) => s.connected));
    let n = 0;
    const begun = processClock.nowMs();
    const timer = setInterval(() => {
      // Timers of a busy process come late; what was missed is sent at once, as a radio does.
      while (n * EVERY_MS < processClock.nowMs() - begun) {
        n++;
        meter.sendVoltage(800 + (n % 7));
        meter.sendCurrent(5 + (n % 3));
      }
    }, EVERY_MS);
    // What is compiled and opened the first time is no part of what a night is like.
    await sleep(1000);
    counts = true;
    await sleep(seconds * 1000);
    counts = false;
    clearInterval(timer);
    hub.stopRecording(id);
    const sorted = Float64Array.from(late).sort();
    const at = (p: number): number => sorted[Math.floor(p * (sorted.length - 1))] ?? NaN;
    return {
      median: at(0.5),
      p99: at(0.99),
      worst: at(1),
      readings: sorted.length,
      stored: bench.store.getRecording(id).channels.reduce((sum, c) => sum + c.samples, 0),
    };
  } finally {
    for (const socket of sockets) socket.disconnect();
    await bench.close();
  }
}

/** From a reading to the pages that watch. */
export const start: Topic = {
  name: 'start',
  async run({ say }): Promise<Table[]> {
    say(`${WATCHERS} pages watch a meter of 200 readings a second for ${SECONDS} s`);
    const l = await measureLatency();
    return [
      {
        title: `From a reading to a page: ${WATCHERS} pages, two channels at 200 a second, durable batches of ${BATCH_MS} ms`,
        columns: ['median ms', 'p99 ms', 'worst ms', 'readings told', 'readings stored'],
        rows: [
          { name: 'this server', kind: 'ours', cells: [l.median, l.p99, l.worst, l.readings, l.stored] },
        ],
        targets: [target('p99 from a reading to a page', l.p99, '<=', 55, 'ms')],
      },
    ];
  },
};

async function until(done: () => boolean): Promise<void> {
  for (let k = 0; k < 2000; k++) {
    if (done()) return;
    await sleep(5);
  }
  throw new Error('the bench did not get going');
}

function sleep(ms: number): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve, ms));
}
