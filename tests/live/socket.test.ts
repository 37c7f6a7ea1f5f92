import { io, type Socket } from 'socket.io-client';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { z } from 'zod';
import { errorBodySchema } from '../../server/messages/errors.ts';
import { meterListSchema } from '../../server/messages/http.ts';
import type { Meter } from '../../server/messages/meters.ts';
import {
  batchReplySchema,
  clockReplySchema,
  noticeSchema,
  readingsSchema,
  recordingMessageSchema,
  type Readings,
} from '../../server/messages/socket.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

const METER: Meter = {
  key: 'page:abc',
  source: 'page',
  name: 'Clamp',
  driver: 'Test',
  state: 'connected',
  rssi: -60,
  channels: [{ key: '2aee.0', quantity: 'current', label: 'Current', apertureMs: null }],
  sentence: '',
};
const RELAYED: Readings = {
  meterKey: METER.key,
  channels: [{ key: '2aee.0', quantity: 'current', t: [1], value: [0.5], text: '0.50', flags: [0] }],
};

let bench: WebBench;
let pages: Page[];

/** A page: what it hears is checked against its schema, what it asks is awaited. */
class Page {
  readonly socket: Socket;
  readonly heard: [string, unknown][] = [];

  constructor(headers: Record<string, string> = {}, transports = ['websocket']) {
    this.socket = io(bench.url, { transports, extraHeaders: headers, reconnectionDelay: 20, forceNew: true });
    const schemas = {
      meters: meterListSchema,
      readings: readingsSchema,
      recording: recordingMessageSchema,
      notice: noticeSchema,
    };
    for (const [name, schema] of Object.entries(schemas))
      this.socket.on(name, (body: unknown) => this.heard.push([name, schema.parse(body)]));
    pages.push(this);
  }

  async connected(): Promise<this> {
    await this.until(() => this.socket.connected);
    return this;
  }

  async until(met: () => boolean): Promise<void> {
    for (let i = 0; i < 300 && !met(); i++) await new Promise((resolve) => setTimeout(resolve, 10));
    expect(met()).toBe(true);
  }

  ask(name: string, ...args: unknown[]): Promise<unknown> {
    return this.socket.timeout(3000).emitWithAck(name, ...args);
  }

  all<T>(name: string): T[] {
    return this.heard.filter(([n]) => n === name).map(([, body]) => body as T);
  }
}

function batch(recordingId: string, number: number) {
  const samples = { t: [number * 100], counts: [number], scale: [-2], flags: [0] };
  return {
    recordingId,
    meterKey: METER.key,
    number,
    parts: [{ key: '2aee.0', samples }],
    gaps: [],
    events: [],
  };
}

async function record(page: Page): Promise<string> {
  await page.ask('announce', [METER]);
  const { id } = bench.hub.startRecording({
    caseId: null,
    kind: 'live-watch',
    title: 'Page',
    zone: null,
    meters: [METER.key],
  });
  return id;
}

beforeEach(async () => {
  pages = [];
  bench = await createWebBench();
});
afterEach(async () => {
  for (const page of pages) page.socket.disconnect();
  await bench.close();
});

describe('a page that connects', () => {
  it('hears the meters, what runs, and the last readings, and matches its clock', async () => {
    await bench.hub.virtualCar('start');
    const first = await new Page().connected();
    await first.until(() => first.all('readings').length >= 4);
    expect(first.all<Meter[]>('meters')[0]!.map((m) => m.key)).toContain('virtual:clamp');
    const reply = clockReplySchema.parse(await first.ask('clock'));
    expect(reply.nowMs).toBeGreaterThan(first.all<Readings>('readings')[0]!.channels[0]!.t[0]!);

    const { id } = bench.hub.startRecording({
      caseId: null,
      kind: 'live-watch',
      title: 'Watch',
      zone: null,
      meters: ['virtual:clamp'],
    });
    const second = await new Page().connected();
    await second.until(() => second.all('recording').length > 0 && second.all('readings').length >= 2);
    expect(second.all('recording')[0]).toMatchObject({ recording: { id, state: 'recording' } });
    bench.hub.stopRecording(id);
    await second.until(() => second.all('recording').length > 1);
    expect(second.all('recording').at(-1)).toMatchObject({
      recording: { id, state: 'stopped' },
      startNowMs: null,
    });
  });

  it.each<[string, Record<string, string>, string]>([
    ['a foreign origin', { origin: 'http://rebound.example' }, 'websocket'],
    ['a foreign origin', { origin: 'http://rebound.example' }, 'polling'],
    ['an origin without the port', { origin: 'http://127.0.0.1' }, 'websocket'],
    ['a name that is not this address', { host: 'rebound.example' }, 'websocket'],
    ['another site', { 'sec-fetch-site': 'cross-site' }, 'websocket'],
    ['another site', { 'sec-fetch-site': 'cross-site' }, 'polling'],
  ])('is refused when it comes from %s (RFC 6455, 10.2) %o by %s', async (_, headers, transport) => {
    const page = new Page(headers, [transport]);
    const refused = await new Promise((resolve) => {
      page.socket.on('connect_error', () => resolve(true));
      page.socket.on('connect', () => resolve(false));
    });
    expect(refused).toBe(true);
  });

  it('is let in with its own origin', async () => {
    const page = await new Page({ origin: bench.url }).connected();
    expect(clockReplySchema.safeParse(await page.ask('clock')).success).toBe(true);
  });
});

describe('what a page sends', () => {
  it('reaches the store before it is acknowledged, and the other pages, but not itself', async () => {
    const page = await new Page().connected();
    const other = await new Page().connected();
    const id = await record(page);
    const send = async (n: number) => batchReplySchema.parse(await page.ask('batch', batch(id, n)));
    expect(await send(1)).toEqual({ ok: true, upTo: 1 });
    expect(bench.store.getRecording(id).channels[0]!.samples).toBe(1);
    expect(await send(1)).toEqual({ ok: true, upTo: 1 });
    expect(await send(3)).toMatchObject({ ok: false, expected: 2 });
    expect(await send(2)).toEqual({ ok: true, upTo: 2 });
    expect(bench.store.getRecording(id).channels[0]!.samples).toBe(2);

    await page.ask('relay', RELAYED);
    await other.until(() => other.all('readings').length === 3);
    expect(other.all('readings').at(-1)).toEqual(RELAYED);
    expect(page.all('readings')).toEqual([]);
  });

  it('goes on under the next number after the connection was lost in the middle', async () => {
    const page = await new Page().connected();
    const id = await record(page);
    expect(await page.ask('batch', batch(id, 1))).toEqual({ ok: true, upTo: 1 });
    // The answer to the second never arrives: the page cannot know whether it was stored.
    page.socket.emit('batch', batch(id, 2));
    await new Promise((resolve) => setTimeout(resolve, 50));
    page.socket.io.engine.close();
    await page.until(() => !page.socket.connected);
    await page.connected();
    await page.ask('announce', [METER]);
    expect(await page.ask('batch', batch(id, 2))).toEqual({ ok: true, upTo: 2 });
    expect(await page.ask('batch', batch(id, 3))).toEqual({ ok: true, upTo: 3 });
    expect(bench.store.getRecording(id).channels[0]!.samples).toBe(3);
    expect(bench.hub.meters()).toMatchObject([{ key: METER.key, state: 'connected' }]);
  });

  it('is refused, counted and answered when it is in no known form', async () => {
    const page = await new Page().connected();
    const id = await record(page);
    const good = batch(id, 1);
    const spoilt = [
      undefined,
      null,
      'batch',
      [],
      { ...good, number: 0 },
      { ...good, number: '1' },
      { ...good, recordingId: '../../etc' },
      { ...good, meterKey: 'page:<b>' },
      { ...good, extra: true },
      { ...good, parts: [{ key: '2aee.0', samples: { ...good.parts[0]!.samples, t: [1, 2] } }] },
      { ...good, parts: [{ key: '2aee.0', samples: { ...good.parts[0]!.samples, t: [null] } }] },
      { ...good, parts: Array.from({ length: 17 }, () => good.parts[0]) },
      { ...good, events: [{ atMs: 0, kind: 'stopped', text: '', value: null }] },
    ];
    for (const body of spoilt) {
      const reply = batchReplySchema.parse(await page.ask('batch', body));
      expect(reply).toMatchObject({ ok: false, expected: null, error: { error: 'bad-request' } });
    }
    const errorReply = z.object({ error: errorBodySchema });
    for (const [name, body] of [
      ['announce', { not: 'a list' }],
      ['announce', [{ ...METER, key: 'server:abc', source: 'server' }]],
      ['announce', Array.from({ length: 17 }, () => METER)],
      ['relay', { meterKey: METER.key }],
    ] as const)
      expect(errorReply.parse(await page.ask(name, body)).error.error).toBe('bad-request');
    expect(bench.live.refused).toBe(spoilt.length + 4);
    expect(await page.ask('batch', good)).toEqual({ ok: true, upTo: 1 });
    expect(bench.log).toEqual([]);
  });

  it('may be a message that nobody knows, or one without an acknowledgement: neither does harm', async () => {
    const page = await new Page().connected();
    page.socket.emit('format-disk', { now: true });
    page.socket.emit('batch', 'nonsense');
    page.socket.emit('batch', () => 1, 'nonsense');
    page.socket.emit('clock');
    await page.ask('clock');
    expect(page.socket.connected).toBe(true);
    expect(bench.live.refused).toBe(2);
  });

  it('ends the connection when it is nothing but nonsense', async () => {
    const page = await new Page().connected();
    page.socket.io.reconnection(false);
    for (let i = 0; i < 100; i++) page.socket.emit('batch', i);
    await page.until(() => !page.socket.connected);
    expect(bench.live.refused).toBe(100);
  });

  it('is dropped unread when it is far too large', async () => {
    const page = await new Page().connected();
    page.socket.io.reconnection(false);
    page.socket.emit('batch', 'x'.repeat(9 * 1024 * 1024));
    await page.until(() => !page.socket.connected);
    const other = await new Page().connected();
    expect(clockReplySchema.safeParse(await other.ask('clock')).success).toBe(true);
  });
});

describe('a page that leaves', () => {
  it('takes its meters along, except those that are recorded', async () => {
    const page = await new Page().connected();
    const watcher = await new Page().connected();
    const idle = { ...METER, key: 'page:idle' };
    const id = await record(page);
    await page.ask('announce', [METER, idle]);
    page.socket.disconnect();
    await watcher.until(() => watcher.all<Meter[]>('meters').at(-1)?.length === 1);
    await watcher.until(() => watcher.all<Meter[]>('meters').at(-1)?.[0]?.state === 'reconnecting');
    expect(bench.hub.isRunning(id)).toBe(true);
  });
});
