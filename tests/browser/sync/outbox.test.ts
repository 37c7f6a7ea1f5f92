import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { Notice } from '../../../server/messages/socket.ts';
import type { BatchBody } from '../../../web/sync/batchCut.ts';
import type { BatchStore } from '../../../web/sync/batchStore.ts';
import { memoryBatches } from '../../../web/sync/memoryBatches.ts';
import { Outbox } from '../../../web/sync/outbox.ts';
import { ManualClock } from '../../helpers/manualClock.ts';
import { FakeServer, type Fault } from './fakeServer.ts';

const body = (...counts: number[]): BatchBody => ({
  parts: [
    { key: 'v', samples: { t: counts, counts, scale: counts.map(() => -3), flags: counts.map(() => 0) } },
  ],
  gaps: [],
  events: [],
});

/** A page: its outbox over a store that outlives it. */
class Page {
  readonly notices: Notice[] = [];
  private constructor(
    readonly outbox: Outbox,
    readonly stream: string,
  ) {}

  static async open(
    store: BatchStore,
    server: FakeServer,
    clock: ManualClock,
    mostWaitingSamples = 1e6,
  ): Promise<Page> {
    const notices: Notice[] = [];
    const outbox = await Outbox.open({
      store,
      send: (batch) => server.send(batch),
      clock,
      alone: (_name, work) => work(),
      onState: () => undefined,
      onNotice: (notice) => notices.push(notice),
      mostWaitingSamples,
    });
    const { id } = await outbox.openStream('rec1', 'page:m');
    const page = new Page(outbox, id);
    page.notices.push(...notices);
    outbox.setConnected(true);
    return page;
  }

  /** The page is gone: nothing that it does after this reaches the server. */
  leave(): void {
    this.outbox.setConnected(false);
  }
}

describe('outbox', () => {
  test('sends in order, one at a time, and forgets what is durable', async () => {
    const [store, server, clock] = [memoryBatches(), new FakeServer(), new ManualClock()];
    const { outbox, stream } = await Page.open(store, server, clock);
    for (let i = 1; i <= 5; i++) await outbox.append(stream, body(i));
    await clock.advance(1);
    expect(server.counts()).toEqual([1, 2, 3, 4, 5]);
    expect(server.stored.map((b) => b.number)).toEqual([1, 2, 3, 4, 5, 6]); // the first is the empty one
    expect(outbox.state).toMatchObject({ waitingBatches: 0, waitingSamples: 0, oldestMs: 0 });
    expect(await store.head(stream)).toBeNull();
  });

  test('keeps what waits and says how much and how old', async () => {
    const [store, server, clock] = [memoryBatches(), new FakeServer(), new ManualClock()];
    const { outbox, stream } = await Page.open(store, server, clock);
    await clock.advance(10);
    outbox.setConnected(false);
    await outbox.append(stream, body(1, 2));
    await clock.advance(3000);
    await outbox.append(stream, body(3));
    expect(outbox.state).toMatchObject({ waitingBatches: 2, waitingSamples: 3, oldestMs: 3000 });
    outbox.setConnected(true);
    await clock.advance(10);
    expect(server.counts()).toEqual([1, 2, 3]);
  });

  test('a full disk at the server is waited out, with its sentence', async () => {
    const [store, server, clock] = [memoryBatches(), new FakeServer(), new ManualClock()];
    const { outbox, stream } = await Page.open(store, server, clock);
    server.fault = () => 'store-full';
    await outbox.append(stream, body(1));
    await clock.advance(60_000);
    expect(outbox.state.sentence).toMatch(/disk is full/);
    server.fault = () => 'none';
    await clock.advance(20_000);
    expect(server.counts()).toEqual([1]);
    expect(outbox.state.sentence).toBe('');
  });

  test('a connection that is back is used at once, however long the last wait was', async () => {
    const [store, server, clock] = [memoryBatches(), new FakeServer(), new ManualClock()];
    const { outbox, stream } = await Page.open(store, server, clock);
    server.fault = () => 'request-lost';
    await outbox.append(stream, body(1));
    await clock.advance(60_000);
    outbox.setConnected(false);
    server.fault = () => 'none';
    outbox.setConnected(true);
    await clock.advance(10);
    expect(server.counts()).toEqual([1]);
  });

  test('a batch that the server refuses for good does not hold up the rest', async () => {
    const [store, server, clock] = [memoryBatches(), new FakeServer(), new ManualClock()];
    const page = await Page.open(store, server, clock);
    server.refuseForGood = (b) => (b.parts[0]?.samples.counts[0] === 2 ? 'bad-request' : null);
    for (let i = 1; i <= 4; i++) await page.outbox.append(page.stream, body(i));
    await clock.advance(10);
    expect(server.counts()).toEqual([1, 3, 4]);
  });

  test('is bounded: what does not fit is refused, and there is room again when some was sent', async () => {
    const [store, server, clock] = [memoryBatches(), new FakeServer(), new ManualClock()];
    const { outbox, stream } = await Page.open(store, server, clock, 4);
    outbox.setConnected(false);
    expect(await outbox.append(stream, body(1, 2, 3))).toBe('kept');
    expect(await outbox.append(stream, body(4, 5))).toBe('full');
    outbox.setConnected(true);
    await clock.advance(10);
    expect(await outbox.append(stream, body(6, 7))).toBe('kept');
    await clock.advance(10);
    expect(server.counts()).toEqual([1, 2, 3, 6, 7]);
  });

  test('after the recording has ended an empty stream is forgotten', async () => {
    const [store, server, clock] = [memoryBatches(), new FakeServer(), new ManualClock()];
    const { outbox, stream } = await Page.open(store, server, clock);
    await outbox.append(stream, body(1));
    outbox.finish(stream);
    await clock.advance(10);
    expect(await store.streams()).toEqual([]);
    expect(await outbox.append(stream, body(2))).toBe('gone');
  });

  test('storage that was cleared in mid-recording costs what waited, and nothing that comes after', async () => {
    const [server, clock] = [new FakeServer(), new ManualClock()];
    const first = await Page.open(memoryBatches(), server, clock);
    for (let i = 1; i <= 3; i++) await first.outbox.append(first.stream, body(i));
    await clock.advance(10);
    first.leave();
    const second = await Page.open(memoryBatches(), server, clock); // an empty store: it was cleared
    for (let i = 4; i <= 9; i++) await second.outbox.append(second.stream, body(i));
    await clock.advance(10);
    expect(server.counts()).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9]);
  });

  test('whatever gets lost on the way and however often the page is reloaded, every reading arrives once and in order', async () => {
    const step = fc.oneof(
      { weight: 5, arbitrary: fc.constant('append' as const) },
      { weight: 2, arbitrary: fc.constant('advance' as const) },
      { weight: 1, arbitrary: fc.constantFrom('reload' as const, 'disconnect' as const, 'connect' as const) },
    );
    const fault = fc.constantFrom<Fault>('request-lost', 'reply-lost', 'store-full', 'none', 'none');
    await fc.assert(
      fc.asyncProperty(fc.array(step, { maxLength: 40 }), fc.infiniteStream(fault), async (steps, faults) => {
        const [store, server, clock] = [memoryBatches(), new FakeServer(), new ManualClock()];
        server.fault = () => faults.next().value as Fault;
        let page = await Page.open(store, server, clock);
        let count = 0;
        for (const what of steps) {
          if (what === 'append') {
            count++;
            expect(await page.outbox.append(page.stream, body(count))).toBe('kept');
          } else if (what === 'advance') await clock.advance(2000);
          else if (what === 'reload') {
            page.leave();
            page = await Page.open(store, server, clock);
          } else page.outbox.setConnected(what === 'connect');
        }
        server.fault = () => 'none';
        page.outbox.setConnected(true);
        await clock.advance(60_000);
        expect(server.counts()).toEqual(Array.from({ length: count }, (_, i) => i + 1));
        expect(page.outbox.state.waitingBatches).toBe(0);
      }),
      { seed: 20240611, numRuns: 60 },
    );
  });
});
