import { readFileSync } from 'node:fs';
import { gzipSync } from 'node:zlib';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { findNight } from '../../server/battery/findings.ts';
import { nightInputOf } from '../../server/capture/nightInput.ts';
import { errorBodySchema } from '../../server/messages/errors.ts';
import { findingsSchema, type Findings } from '../../server/messages/findings.ts';
import {
  caseListSchema,
  chartSchema,
  meterListSchema,
  recordingDetailSchema,
  recordingListSchema,
  statusSchema,
} from '../../server/messages/http.ts';
import { caseSchema, eventSchema, recordingSchema, type Recording } from '../../server/messages/records.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { RADIO_MISSING } from '../helpers/hubBench.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

const NIGHT = readFileSync('recordings/low-auxiliary-battery/night.csv.gz');

let bench: WebBench;
let clock: ManualClock;
const meter = new FakeMeter('one');

beforeEach(async () => {
  clock = new ManualClock();
  bench = await createWebBench({ clock, meters: [meter] });
});
afterEach(() => bench.close());

async function ok<T>(answer: Promise<{ status: number; json<U>(): U }>, status = 200): Promise<T> {
  const { status: got, json } = await answer;
  expect([got, got === status ? null : json()]).toEqual([status, null]);
  return json<T>();
}

async function refused(path: string, asking: Parameters<WebBench['ask']>[1] = {}): Promise<[number, string]> {
  const answer = await bench.ask(path, asking);
  return [answer.status, errorBodySchema.parse(answer.json()).error];
}

async function importNight(query = ''): Promise<Recording> {
  const answer = bench.ask(`/api/import?name=night.csv.gz${query}`, { body: NIGHT });
  return recordingSchema.parse(await ok(answer, 201));
}

describe('the status', () => {
  it('says what this server is and what its radio can do', async () => {
    expect(statusSchema.parse(await ok(bench.ask('/api/status')))).toEqual({
      name: 'nightdraw',
      version: '0.0.0',
      bluetooth: { state: 'ready', reason: null, sentence: 'Ready.' },
      virtualCar: { running: false },
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
    expect(await refused(path)).toEqual([404, 'not-found']);
    expect(await refused(path, { method: 'PUT', body: { title: 'x' } })).toEqual([404, 'not-found']);
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
    expect(await refused('/api/virtual-car', { body: { action: 'wake' } })).toEqual([409, 'conflict']);
    expect(await ok(car('start'))).toEqual({ running: true });
    expect(await ok(bench.ask('/api/status'))).toMatchObject({ virtualCar: { running: true } });
    await clock.advance(1000);
    await ok(car('touch-handle'));
    await ok(car('wake'));
    expect(await ok(car('stop'))).toEqual({ running: false });
    expect(await refused('/api/virtual-car', { body: { action: 'explode' } })).toEqual([400, 'bad-request']);
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
    expect(await refused(`${path}/events`, { body: { kind: 'stopped', text: '' } })).toEqual([
      400,
      'bad-request',
    ]);
    expect(await refused(path, { method: 'DELETE' })).toEqual([409, 'conflict']);
    expect(await refused(`/api/cases/${caseId}`, { method: 'DELETE' })).toEqual([409, 'conflict']);

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
    expect(await refused(path, { method: 'PATCH', body: { caseId: 'gone1234' } })).toEqual([
      404,
      'not-found',
    ]);
    expect((await bench.ask(path, { method: 'DELETE' })).status).toBe(204);
    expect(await refused(path)).toEqual([404, 'not-found']);
  });

  it('is not started with a meter that is not there, or twice with none', async () => {
    const body = { kind: 'live-watch', title: 'Watch', meters: ['server:none'] };
    expect(await refused('/api/recordings', { body })).toEqual([404, 'not-found']);
    expect(await refused('/api/recordings', { body: { ...body, meters: [] } })).toEqual([400, 'bad-request']);
    expect(await refused('/api/recordings', { body: { ...body, kind: 'imported' } })).toEqual([
      400,
      'bad-request',
    ]);
  });

  it('says that the disk is full, with the status for it', async () => {
    const { id } = await startOne();
    bench.fill.full = 'store-full';
    await clock.advance(1000);
    expect(await refused(`/api/recordings/${id}/stop`, { body: {} })).toEqual([507, 'store-full']);
    bench.fill.full = null;
    await ok(bench.ask(`/api/recordings/${id}/stop`, { body: {} }));
  });
});

describe('a night that is imported', () => {
  it('belongs to its case, and a file that cannot be read leaves nothing behind', async () => {
    const { id } = await ok<{ id: string }>(bench.ask('/api/cases', { body: { title: 'Car' } }), 201);
    expect(await importNight(`&case=${id}`)).toMatchObject({
      caseId: id,
      kind: 'imported',
      state: 'stopped',
    });
    const broken = await bench.ask('/api/import?name=broken.csv', {
      body: 'time_s,voltage_V\n0,12.6\n1,twelve\n',
    });
    expect(broken.status).toBe(422);
    expect(broken.json<{ sentence: string }>().sentence).toMatch(/broken\.csv.*3/);
    expect(
      await refused('/api/import?name=x.csv&case=gone1234', { body: 'time_s,voltage_V\n0,12.6\n' }),
    ).toEqual([404, 'not-found']);
    expect(await refused('/api/import?name=x.csv', { method: 'POST' })).toEqual([422, 'unreadable-file']);
    expect(await refused('/api/import', { body: 'time_s,voltage_V\n0,12.6\n' })).toEqual([
      400,
      'bad-request',
    ]);
    expect(await ok(bench.ask('/api/recordings'))).toHaveLength(1);
  });

  it('comes back out as the same readings', async () => {
    const { id } = await importNight();
    const csv = await bench.ask(`/api/recordings/${id}/samples.csv`);
    expect(csv.headers['content-type']).toBe('text/csv; charset=utf-8; header=present');
    expect(csv.headers['content-disposition']).toBe(`attachment; filename="nightdraw-${id}.csv"`);
    const again = await ok<Recording>(
      bench.ask('/api/import?name=again.csv.gz', { body: gzipSync(csv.text) }),
      201,
    );
    const columns = (recording: Recording) => recording.channels.map((c) => bench.store.readSamples(c.id));
    expect(columns(again)).toEqual(columns(bench.store.getRecording(id)));
    expect(columns(again)[0]!.length).toBeGreaterThan(1000);
  });

  it('has findings that are those of the analysis, with what the case says of the battery', async () => {
    const battery = { role: 'auxiliary', chemistry: 'agm', capacityAh: 45 };
    const body = { title: 'Car', battery, thresholdV: 12.15, drawLimitA: 0.03 };
    const { id: caseId } = await ok<{ id: string }>(bench.ask('/api/cases', { body }), 201);
    const { id } = await importNight(`&case=${caseId}`);
    const of = async (query: string) =>
      findingsSchema.parse(await ok(bench.ask(`/api/recordings/${id}/findings${query}`)));
    const expected = (options: Parameters<typeof findNight>[1]): Findings =>
      JSON.parse(JSON.stringify(findNight(nightInputOf(bench.store, id), options))) as Findings;

    const known = { chemistry: 'agm', capacityAh: 45, thresholdV: 12.15, drawLimitA: 0.03 } as const;
    expect(await of('')).toEqual(expected(known));
    expect(await of('?thresholdV=11.9&capacityAh=70&chemistry=flooded')).toEqual(
      expected({ ...known, thresholdV: 11.9, capacityAh: 70, chemistry: 'flooded' }),
    );
    expect((await of('?thresholdV=11.9')).battery.thresholdV).toBe(11.9);
    expect((await of('')).battery.thresholdV).toBe(12.15);
  });

  it.each(['capacityAh=-1', 'chemistry=wood', 'thresholdV=soon', 'apertureMs=1e9'])(
    'has no findings for %s',
    async (query) => {
      const { id } = await importNight();
      expect(await refused(`/api/recordings/${id}/findings?${query}`)).toEqual([400, 'bad-request']);
    },
  );

  it('has a chart in which no peak is lost', async () => {
    const { id, channels, durationMs } = await importNight();
    const of = async (query: string) =>
      chartSchema.parse(await ok(bench.ask(`/api/recordings/${id}/chart${query}`)));
    const whole = await of('?buckets=100');
    expect(whole).toMatchObject({ fromS: 0, toS: durationMs / 1000 });
    whole.channels.forEach((line, i) => {
      const { counts, scale, t } = bench.store.readSamples(channels[i]!.id);
      const values = Array.from(counts, (c, k) => c / 10 ** -scale[k]!);
      expect(line).toMatchObject({ channelId: channels[i]!.id, raw: false });
      expect(line.t.length).toBeLessThanOrEqual(100);
      expect(Math.max(...line.max)).toBe(values.reduce((a, b) => Math.max(a, b)));
      expect(Math.min(...line.min)).toBe(values.reduce((a, b) => Math.min(a, b)));
      expect(t.length).toBeGreaterThan(1000);
    });
    const close = await of('?fromS=100&toS=110&buckets=400');
    for (const line of close.channels) {
      expect(line.raw).toBe(true);
      expect(line.min).toEqual(line.max);
      expect(line.t.every((t) => t >= 100 && t <= 110)).toBe(true);
      expect(line.t.length).toBeGreaterThan(3);
    }
    expect((await of('?fromS=5&toS=2')).channels.every((c) => c.t.length <= 1)).toBe(true);
    for (const query of ['?buckets=1e9', '?buckets=ten', '?fromS=soon'])
      expect(await refused(`/api/recordings/${id}/chart${query}`)).toEqual([400, 'bad-request']);
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
