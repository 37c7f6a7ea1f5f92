import { readFileSync } from 'node:fs';
import { gzipSync } from 'node:zlib';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { findNight } from '../../server/battery/findings.ts';
import { nightInputOf } from '../../server/capture/nightInput.ts';
import { findingsSchema, type Findings } from '../../server/messages/findings.ts';
import { chartSchema } from '../../server/messages/http.ts';
import { recordingSchema, type Recording } from '../../server/messages/records.ts';
import { ok, refused } from '../helpers/answers.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

const NIGHT = readFileSync('recordings/low-auxiliary-battery/night.csv.gz');

let bench: WebBench;

beforeEach(async () => {
  bench = await createWebBench();
});
afterEach(() => bench.close());

async function importNight(query = ''): Promise<Recording> {
  const answer = bench.ask(`/api/import?name=night.csv.gz${query}`, { body: NIGHT });
  return recordingSchema.parse(await ok(answer, 201));
}

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
      await refused(bench, '/api/import?name=x.csv&case=gone1234', { body: 'time_s,voltage_V\n0,12.6\n' }),
    ).toEqual([404, 'not-found']);
    expect(await refused(bench, '/api/import?name=x.csv', { method: 'POST' })).toEqual([
      422,
      'unreadable-file',
    ]);
    expect(await refused(bench, '/api/import', { body: 'time_s,voltage_V\n0,12.6\n' })).toEqual([
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
      expect(await refused(bench, `/api/recordings/${id}/findings?${query}`)).toEqual([400, 'bad-request']);
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
      expect(await refused(bench, `/api/recordings/${id}/chart${query}`)).toEqual([400, 'bad-request']);
  });
});
