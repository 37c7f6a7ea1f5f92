import { afterAll, beforeAll, expect, test } from 'vitest';
import { batchReplySchema, batchSchema } from '../../server/messages/socket.ts';
import type { CountingMeter } from './rig/countingMeter.ts';
import { eventually } from './rig/eventually.ts';
import { SyncRig, type SyncPage } from './rig/syncBench.ts';

/** How fast readings may come, and how long they take to be safe. */

const rig = new SyncRig();
let meter: CountingMeter;
let page: SyncPage;
let key: string;
const sentAt: number[] = [];
const safeAfterMs: { oldest: number; newest: number; onTheWay: number }[] = [];

beforeAll(async () => {
  await rig.start();
  meter = rig.addMeter('Fast voltmeter');
  meter.onSend = (count) => (sentAt[count] = performance.now());
  page = await rig.openPage();
  await watchBatches();
  key = await page.connect(rig.addressOf(meter));
});
afterAll(() => rig.close());

/** Notes, from the socket's own frames, when each batch left the page and when its answer came. */
async function watchBatches(): Promise<void> {
  const under = new Map<string, { first: number; last: number; atMs: number }>();
  page.page.on('websocket', (socket) => {
    socket.on('framesent', ({ payload }) => {
      const [, id, json] = /^42(\d+)(\["batch".*)$/s.exec(String(payload)) ?? [];
      if (id === undefined || json === undefined) return;
      const counts = batchSchema.parse((JSON.parse(json) as unknown[])[1]).parts[0]?.samples.counts;
      if (counts?.length) under.set(id, { first: counts[0]!, last: counts.at(-1)!, atMs: performance.now() });
    });
    socket.on('framereceived', ({ payload }) => {
      const [, id, json] = /^43(\d+)(\[.*)$/s.exec(String(payload)) ?? [];
      const batch = id === undefined ? undefined : under.get(id);
      if (!batch || json === undefined) return;
      if (!batchReplySchema.parse((JSON.parse(json) as unknown[])[0]).ok) return;
      const now = performance.now();
      safeAfterMs.push({
        oldest: now - sentAt[batch.first]!,
        newest: now - sentAt[batch.last]!,
        onTheWay: now - batch.atMs,
      });
    });
  });
  await page.page.reload();
}

function quantile(values: readonly number[], q: number): number {
  return [...values].sort((a, b) => a - b)[Math.floor(q * (values.length - 1))]!;
}

test.each([
  { perSecond: 10, seconds: 3 },
  { perSecond: 200, seconds: 3 },
  { perSecond: 2000, seconds: 3 },
])('$perSecond readings a second are all recorded', async ({ perSecond, seconds }) => {
  safeAfterMs.length = 0;
  meter.start(perSecond);
  const id = await rig.startRecording(key);
  await page.page.waitForTimeout(seconds * 1000);
  const atStop = meter.sent;
  await rig.stopRecording(id);
  meter.stop();
  await eventually(async () => (await rig.storedCounts(id)).at(-1)).toBeGreaterThan(
    atStop - 0.1 * perSecond - 1,
  );
  const counts = await rig.storedCounts(id);
  expect(counts.length).toBeGreaterThan(0.8 * perSecond * seconds);
  expect(counts).toEqual(counts.map((_, i) => counts[0]! + i));
  const figure = (what: keyof (typeof safeAfterMs)[number]): string =>
    [0.5, 0.99]
      .map((q) =>
        quantile(
          safeAfterMs.map((s) => s[what]),
          q,
        ).toFixed(0),
      )
      .join(' / ');
  console.log(
    `${perSecond}/s: ${counts.length} stored; ms until durable (median / 99 %): oldest of a batch ${figure('oldest')}, ` +
      `newest ${figure('newest')}, from sending to the answer ${figure('onTheWay')}`,
  );
  expect(
    quantile(
      safeAfterMs.map((s) => s.oldest),
      0.5,
    ),
  ).toBeLessThan(3000);
});
