import { mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { decryptCcm } from '../../drivers/links/node/decrypt.ts';
import { openBindKeys } from '../../server/capture/bindKeys.ts';
import type { Findings } from '../../server/messages/findings.ts';
import { keptMeterRecordListSchema, meterRecordSchema } from '../../server/messages/meterRecord.ts';
import { recordingSchema } from '../../server/messages/records.ts';
import { heldZeroCheckListSchema } from '../../server/messages/zeroCheck.ts';
import { ok, refused } from '../helpers/answers.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

const ADDRESS = 'c0:de:00:00:00:01';
const KEY = '231d39c1d7cc1ab1aee224cd096db932';

let bench: WebBench;
let clock: ManualClock;
let keys: string;

beforeEach(async () => {
  clock = new ManualClock();
  keys = mkdtempSync(path.join(tmpdir(), 'nightdraw-keys-'));
  bench = await createWebBench({ clock, hub: { bindKeys: openBindKeys(keys, decryptCcm) } });
});
afterEach(async () => {
  await bench.close();
  rmSync(keys, { recursive: true });
});

describe('the record of a meter', () => {
  const record = meterRecordSchema.parse({ name: 'Clamp 2', serial: '4711', apertureMs: 250 });
  const put = (body: object) => ({ method: 'PUT', body });

  it('is written, listed and taken away', async () => {
    const kept = await ok(bench.ask('/api/meters/server%3Aone/record', put(record)));
    expect(kept).toMatchObject({ meterKey: 'server:one', record });
    const list = keptMeterRecordListSchema.parse(await ok(bench.ask('/api/meters/records')));
    expect(list).toEqual([kept]);
    expect((await bench.ask('/api/meters/server:one/record', { method: 'DELETE' })).status).toBe(204);
    expect(await ok(bench.ask('/api/meters/records'))).toEqual([]);
  });

  it('is refused whole where a part of it is not right', async () => {
    const wrong = put({ ...record, apertureMs: -1 });
    expect(await refused(bench, '/api/meters/server:one/record', wrong)).toEqual([400, 'bad-request']);
    expect(await ok(bench.ask('/api/meters/records'))).toEqual([]);
  });
});

describe('a zero check', () => {
  async function check(recordingId: string | null) {
    const asked = bench.ask('/api/meters/virtual:clamp/zero-check', { body: { seconds: 3, recordingId } });
    await new Promise((resolve) => setTimeout(resolve, 100)); // the request is on its way
    await clock.advance(5000);
    return heldZeroCheckListSchema.parse(await ok(asked));
  }

  it('before and after a recording changes findings that were asked for between', async () => {
    await ok(bench.ask('/api/virtual-car', { body: { action: 'start' } }));
    await clock.advance(60_000);
    const held = await check(null);
    expect(held).toHaveLength(1);
    expect(await ok(bench.ask('/api/meters/zero-checks'))).toEqual(held);
    const body = { kind: 'live-watch', title: 'Watch', meters: ['virtual:clamp'] };
    const { id } = recordingSchema.parse(await ok(bench.ask('/api/recordings', { body }), 201));
    expect(await ok(bench.ask('/api/meters/zero-checks'))).toEqual([]);
    await clock.advance(20_000);
    expect(await refused(bench, '/api/meters/virtual:clamp/zero-check', { body: {} })).toEqual([
      409,
      'conflict',
    ]);
    await ok(bench.ask(`/api/recordings/${id}/stop`, { body: {} }));
    const flags = async () =>
      (await ok<Findings>(bench.ask(`/api/recordings/${id}/findings`))).flags.map((f) => f.code);
    expect(await flags()).toContain('zero-not-checked');
    await check(id);
    expect(await flags()).not.toContain('zero-not-checked');
  });

  it('needs a meter that is connected', async () => {
    const path = '/api/meters/virtual:clamp/zero-check';
    expect(await refused(bench, path, { body: {} })).toEqual([404, 'not-found']);
    expect(await refused(bench, path, { body: { seconds: 3600 } })).toEqual([400, 'bad-request']);
  });
});

describe('a bind key', () => {
  const route = `/api/meters/server:${encodeURIComponent(ADDRESS)}/bind-key`;
  const put = (key: string | null) => ({ method: 'PUT', body: { key } });

  it('is kept where only its owner reads it, and never sent back', async () => {
    expect(await ok(bench.ask(route, put(KEY.toUpperCase())))).toEqual([ADDRESS]);
    const answer = await bench.ask('/api/meters/bind-keys');
    expect(answer.text).toBe(JSON.stringify([ADDRESS]));
    const file = path.join(keys, 'bind-keys.json');
    expect(JSON.parse(readFileSync(file, 'utf8'))).toEqual({ [ADDRESS]: KEY });
    expect(statSync(file).mode & 0o077).toBe(0);
    expect(await ok(bench.ask(route, put(null)))).toEqual([]);
  });

  it('is refused where it is none, or the meter is not one of the server’s radio', async () => {
    expect(await refused(bench, route, put(KEY.slice(1)))).toEqual([400, 'bad-request']);
    expect(await refused(bench, '/api/meters/virtual:clamp/bind-key', put(KEY))).toEqual([
      400,
      'bad-request',
    ]);
    expect(await ok(bench.ask('/api/meters/bind-keys'))).toEqual([]);
  });
});

it('services of makers are kept in one spelling, each once', async () => {
  const path = '/api/taught-meters/vendor-services';
  const put = (body: unknown) => bench.ask(path, { method: 'PUT', body: body as object });
  expect(await ok(put(['FFE0', ' ffe0', '0xfff0']))).toEqual(['ffe0', '0xfff0']);
  expect(await ok(bench.ask(path))).toEqual(['ffe0', '0xfff0']);
  expect((await put(['ffe'])).status).toBe(400);
});
