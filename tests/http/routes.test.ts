import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import {
  caseListSchema,
  meterListSchema,
  recordingDetailSchema,
  recordingListSchema,
  statusSchema,
} from '../../server/messages/http.ts';
import { caseSchema, eventSchema, recordingSchema, type Recording } from '../../server/messages/records.ts';
import { ok, refused } from '../helpers/answers.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { RADIO_MISSING } from '../helpers/hubBench.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

let bench: WebBench;
let clock: ManualClock;
const meter = new FakeMeter('one');

beforeEach(async () => {
  clock = new ManualClock();
  bench = await createWebBench({ clock, meters: [meter] });
});
afterEach(() => bench.close());

describe('the status', () => {
  it('says what this server is and what its radio can do', async () => {
    expect(statusSchema.parse(await ok(bench.ask('/api/status')))).toEqual({
      name: 'nightdraw',
      version: '0.0.0',
      bluetooth: { state: 'ready', reason: null, sentence: 'Ready.' },
      virtualCar: { running: false },
      disk: { freeBytes: expect.any(Number) as number },
    });
  });
});

describe('cases', () => {
  it('are made, read, changed and deleted', async () => {
    const battery = { role: 'auxiliary', chemistry: 'agm', capacityAh: 45 };
    const body = { title: '  Hybrid, handle dead ', complaint: 'Mornings.', battery, thresholdV: 12.1 };
    const made = caseSchema.parse(await ok(bench.ask('/api/cases', { body }), 201));
    expect(made).toMatchObject({
      title: 'Hybrid, handle dead',
      plateOrVin: '',
      thresholdV: 12.1,
      demo: false,
    });
    const path = `/api/cases/${made.id}`;
    expect(await ok(bench.ask(path))).toEqual(made);
    const changed = await ok(bench.ask(path, { method: 'PUT', body: { title: 'Hybrid', drawLimitA: 0.05 } }));
    expect(changed).toMatchObject({
      id: made.id,
      title: 'Hybrid',
      complaint: '',
      battery: null,
      drawLimitA: 0.05,
    });
    expect(caseListSchema.parse(await ok(bench.ask('/api/cases')))).toEqual([changed]);
    expect((await bench.ask(path, { method: 'DELETE' })).status).toBe(204);
    expect(await refused(bench, path)).toEqual([404, 'not-found']);
    expect(await refused(bench, path, { method: 'PUT', body: { title: 'x' } })).toEqual([404, 'not-found']);
  });
});

describe('meters', () => {
  it('are found, connected and let go', async () => {
    const scan = bench.ask('/api/meters/scan', { body: { seconds: 1 } });
    await new Promise((resolve) => setTimeout(resolve, 100));
    await clock.advance(1000);
    expect(meterListSchema.parse(await ok(scan))).toMatchObject([{ key: 'server:one', state: 'seen' }]);
    expect(await ok(bench.ask('/api/meters/server:one/connect', { body: {} }), 202)).toMatchObject({
      state: 'connecting',
    });
    await clock.advance(10);
    expect(meterListSchema.parse(await ok(bench.ask('/api/meters')))).toMatchObject([
      { key: 'server:one', state: 'connected', channels: [{ quantity: 'voltage' }, { quantity: 'current' }] },
    ]);
    expect(await ok(bench.ask('/api/meters/server%3Aone/disconnect', { body: {} }))).toMatchObject({
      state: 'seen',
    });
  });

  it('cannot be reached without an adapter, in one sentence', async () => {
    await bench.close();
    bench = await createWebBench({ radio: RADIO_MISSING });
    const answer = await bench.ask('/api/meters/server:one/connect', { body: {} });
    expect([answer.status, answer.json()]).toEqual([
      503,
      { error: 'no-bluetooth', sentence: RADIO_MISSING.sentence },
    ]);
    expect(await ok(bench.ask('/api/status'))).toMatchObject({ bluetooth: RADIO_MISSING });
  });
});

describe('the virtual car', () => {
  it('is started, touched and stopped', async () => {
    const car = (action: string) => bench.ask('/api/virtual-car', { body: { action } });
    expect(await refused(bench, '/api/virtual-car', { body: { action: 'wake' } })).toEqual([409, 'conflict']);
    expect(await ok(car('start'))).toEqual({ running: true });
    expect(await ok(bench.ask('/api/status'))).toMatchObject({ virtualCar: { running: true } });
    await clock.advance(1000);
    await ok(car('touch-handle'));
    await ok(car('wake'));
    expect(await ok(car('stop'))).toEqual({ running: false });
    expect(await refused(bench, '/api/virtual-car', { body: { action: 'explode' } })).toEqual([
      400,
      'bad-request',
    ]);
  });
});

describe('a recording', () => {
  async function startOne(caseId: string | null = null): Promise<Recording> {
    await ok(bench.ask('/api/virtual-car', { body: { action: 'start' } }));
    await clock.advance(100);
    const body = {
      kind: 'live-watch',
      title: 'Watch',
      caseId,
      zone: 'Europe/Paris',
      meters: ['virtual:clamp', 'virtual:voltmeter'],
    };
    return recordingSchema.parse(await ok(bench.ask('/api/recordings', { body }), 201));
  }

  it('is started, marked, stopped, moved and deleted', async () => {
    const { id: caseId } = await ok<{ id: string }>(bench.ask('/api/cases', { body: { title: 'Car' } }), 201);
    const { id } = await startOne(caseId);
    const path = `/api/recordings/${id}`;
    await clock.advance(3000);
    const event = await ok(bench.ask(`${path}/events`, { body: { kind: 'attempt', text: 'Opened.' } }), 201);
    expect(eventSchema.parse(event)).toEqual({ atMs: 3000, kind: 'attempt', text: 'Opened.', value: null });
    expect(await refused(bench, `${path}/events`, { body: { kind: 'stopped', text: '' } })).toEqual([
      400,
      'bad-request',
    ]);
    expect(await refused(bench, path, { method: 'DELETE' })).toEqual([409, 'conflict']);
    expect(await refused(bench, `/api/cases/${caseId}`, { method: 'DELETE' })).toEqual([409, 'conflict']);

    const stopped = await ok<Recording>(bench.ask(`${path}/stop`, { body: {} }));
    expect(stopped).toMatchObject({ state: 'stopped', durationMs: 3000, zone: 'Europe/Paris' });
    expect(await ok(bench.ask(`${path}/stop`, { body: {} }))).toEqual(stopped);
    const detail = recordingDetailSchema.parse(await ok(bench.ask(path)));
    expect(detail.recording).toEqual(stopped);
    expect(detail.events.map((e) => e.kind)).toEqual(['started', 'attempt', 'stopped']);
    expect(recordingListSchema.parse(await ok(bench.ask(`/api/recordings?case=${caseId}`)))).toEqual([
      stopped,
    ]);

    const moved = await ok(bench.ask(path, { method: 'PATCH', body: { caseId: null } }));
    expect(moved).toMatchObject({ id, caseId: null });
    expect(await ok(bench.ask(`/api/recordings?case=${caseId}`))).toEqual([]);
    expect(await refused(bench, path, { method: 'PATCH', body: { caseId: 'gone1234' } })).toEqual([
      404,
      'not-found',
    ]);
    expect((await bench.ask(path, { method: 'DELETE' })).status).toBe(204);
    expect(await refused(bench, path)).toEqual([404, 'not-found']);
  });

  it('is not started with a meter that is not there, or twice with none', async () => {
    const body = { kind: 'live-watch', title: 'Watch', meters: ['server:none'] };
    expect(await refused(bench, '/api/recordings', { body })).toEqual([404, 'not-found']);
    expect(await refused(bench, '/api/recordings', { body: { ...body, meters: [] } })).toEqual([
      400,
      'bad-request',
    ]);
    expect(await refused(bench, '/api/recordings', { body: { ...body, kind: 'imported' } })).toEqual([
      400,
      'bad-request',
    ]);
  });

  it('says that the disk is full, with the status for it', async () => {
    const { id } = await startOne();
    bench.fill.full = 'store-full';
    await clock.advance(1000);
    expect(await refused(bench, `/api/recordings/${id}/stop`, { body: {} })).toEqual([507, 'store-full']);
    bench.fill.full = null;
    await ok(bench.ask(`/api/recordings/${id}/stop`, { body: {} }));
  });
});

describe('the page', () => {
  it('is one document for all its addresses', async () => {
    for (const path of ['/', '/cases/abcd1234', '/night/abcd1234/chart']) {
      const answer = await bench.ask(path);
      expect([answer.status, answer.headers['content-type']]).toEqual([200, 'text/html; charset=utf-8']);
      expect(answer.text).toContain('<title>Page</title>');
    }
  });
});
