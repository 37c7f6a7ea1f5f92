import { readFileSync } from 'node:fs';
import { request } from 'node:http';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { chartSchema } from '../../server/messages/http.ts';
import { recordingSchema } from '../../server/messages/records.ts';
import { decodeZoom } from '../../server/messages/zoom.ts';
import { ok, refused } from '../helpers/answers.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

const NIGHT = readFileSync('recordings/low-auxiliary-battery/night.csv.gz');
let bench: WebBench;

beforeEach(async () => {
  bench = await createWebBench();
});
afterEach(() => bench.close());

function octets(path: string): Promise<{ type: string | undefined; bytes: Uint8Array }> {
  return new Promise((resolve, reject) => {
    request({ host: '127.0.0.1', port: bench.port, path }, (response) => {
      const chunks: Buffer[] = [];
      response.on('data', (chunk: Buffer) => chunks.push(chunk));
      response.on('end', () =>
        resolve({ type: response.headers['content-type'], bytes: new Uint8Array(Buffer.concat(chunks)) }),
      );
    })
      .on('error', reject)
      .end();
  });
}

it('a picture in octets says what the JSON says, in a fraction of the room', async () => {
  const { id } = recordingSchema.parse(
    await ok(bench.ask('/api/import?name=night.csv.gz', { body: NIGHT }), 201),
  );
  for (const query of [
    'buckets=2000',
    'fromS=3600&toS=7200&buckets=2000',
    'fromS=100&toS=104&buckets=2000',
  ]) {
    const { type, bytes } = await octets(`/api/recordings/${id}/zoom?${query}`);
    const answer = await bench.ask(`/api/recordings/${id}/chart?${query}`);
    const chart = chartSchema.parse(answer.json());
    const zoom = decodeZoom(bytes);
    expect(type).toBe('application/octet-stream');
    expect(bytes.length).toBeLessThanOrEqual(16_384);
    expect([zoom.fromS, zoom.toS]).toEqual([chart.fromS, chart.toS]);
    expect(
      zoom.channels.map(({ channelId, quantity, raw, min, max }) => ({
        channelId,
        quantity,
        raw,
        min: [...min],
        max: [...max],
      })),
    ).toEqual(
      chart.channels.map(({ channelId, quantity, raw, min, max }) => ({
        channelId,
        quantity,
        raw,
        min,
        max,
      })),
    );
    chart.channels.forEach((channel, i) =>
      channel.t.forEach((t, k) => expect(Math.abs(t - zoom.channels[i]!.t[k]!)).toBeLessThan(1e-6)),
    );
  }
});

it('what is not there or not asked properly is refused by its code', async () => {
  expect(await refused(bench, '/api/recordings/gone1234/zoom')).toEqual([404, 'not-found']);
  expect(await refused(bench, '/api/recordings/gone1234/zoom?buckets=4001')).toEqual([404, 'not-found']);
  const { id } = recordingSchema.parse(
    await ok(bench.ask('/api/import?name=n.csv', { body: 'time_s,voltage_V\n0,12.6\n1,12.5\n' }), 201),
  );
  for (const query of ['buckets=5', 'buckets=4001', 'buckets=many', 'fromS=soon'])
    expect(await refused(bench, `/api/recordings/${id}/zoom?${query}`)).toEqual([400, 'bad-request']);
});
