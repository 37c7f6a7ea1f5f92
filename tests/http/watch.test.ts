import { afterEach, beforeEach, expect, it } from 'vitest';
import type { Recording } from '../../server/messages/records.ts';
import { watchReportSchema, webhookTestSchema } from '../../server/messages/watch.ts';
import { ok, refused } from '../helpers/answers.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

let bench: WebBench;
let clock: ManualClock;
let id: string;

beforeEach(async () => {
  clock = new ManualClock();
  bench = await createWebBench({ clock, meters: [] });
  await ok(bench.ask('/api/virtual-car', { body: { action: 'start' } }));
  await clock.advance(500);
  const body = { kind: 'overnight-test', title: 'Night', meters: ['virtual:clamp', 'virtual:voltmeter'] };
  ({ id } = await ok<Recording>(bench.ask('/api/recordings', { body }), 201));
});
afterEach(() => bench.close());

const report = async () => watchReportSchema.parse(await ok(bench.ask(`/api/recordings/${id}/watch`)));
const put = (body: object) => bench.ask(`/api/recordings/${id}/watch`, { method: 'PUT', body });

it('a watch is armed with its defaults, told of, and disarmed', async () => {
  expect((await report()).armed).toBeNull();
  const armed = watchReportSchema.parse(await ok(put({ settings: {} })));
  expect(armed.armed).toEqual({
    floorV: 11.8,
    quietS: 120,
    awakeAfterS: 5400,
    diskFreeMb: 500,
    webhookHost: null,
  });
  bench.room.freeMb = 20;
  await clock.advance(15_000);
  const { warnings, glance } = await report();
  expect(warnings.map((w) => w.code)).toEqual(['disk-low']);
  expect(glance).not.toBe('');
  const { events } = await ok<{ events: { kind: string }[] }>(bench.ask(`/api/recordings/${id}`));
  expect(events.filter((e) => e.kind === 'warning')).toHaveLength(1);
  expect(watchReportSchema.parse(await ok(put({ settings: null })))).toMatchObject({
    armed: null,
    warnings: [],
  });
});

it('an address is kept, tried, and never given out', async () => {
  const settings = { webhook: 'http://127.0.0.1:9/hook-secret' };
  const answer = await put({ settings });
  expect(answer.text).not.toContain('hook-secret');
  expect((await bench.ask(`/api/recordings/${id}/watch`)).text).not.toContain('hook-secret');
  const tried = webhookTestSchema.parse(
    await ok(bench.ask(`/api/recordings/${id}/watch/test`, { body: {} })),
  );
  expect(tried).toEqual({ ok: false, sentence: 'No network here.' });
  expect(bench.log.join('\n')).not.toContain('hook-secret');
});

it('refuses what is no setting, and recordings that are not there', async () => {
  for (const settings of [
    { webhook: 'ftp://h/' },
    { webhook: 'https://a:b@h/' },
    { floorV: 0 },
    { quietS: 1 },
    { more: 1 },
  ])
    expect((await put({ settings })).status).toBe(400);
  expect((await put({})).status).toBe(400);
  expect(await refused(bench, '/api/recordings/abcd1234/watch')).toEqual([404, 'not-found']);
  expect(
    await refused(bench, '/api/recordings/abcd1234/watch', { method: 'PUT', body: { settings: {} } }),
  ).toEqual([404, 'not-found']);
});
