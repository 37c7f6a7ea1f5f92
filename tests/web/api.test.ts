import { describe, expect, it } from 'vitest';
import { encodeZoom } from '../../server/messages/zoom.ts';
import { ApiError, createApi, csvPath, queryText, sentenceOf, type FetchLike } from '../../web/state/api.ts';
import { sampleDetail, sampleFindings } from './samples.ts';

interface Call {
  readonly path: string;
  readonly method: string;
  readonly body: unknown;
}

/** A server that answers each request with the same reply and remembers what it was asked. */
function answering(status: number, body: unknown): { fetchLike: FetchLike; calls: Call[] } {
  const calls: Call[] = [];
  const fetchLike: FetchLike = async (path, init) => {
    calls.push({ path, method: init?.method ?? 'GET', body: init?.body });
    const text = typeof body === 'string' ? body : body === undefined ? '' : JSON.stringify(body);
    const bytes = body instanceof Uint8Array ? body : new TextEncoder().encode(text);
    const arrayBuffer = async () => bytes.slice().buffer;
    return { ok: status < 400, status, text: async () => text, arrayBuffer };
  };
  return { fetchLike, calls };
}

async function failure(run: Promise<unknown>): Promise<ApiError> {
  try {
    await run;
  } catch (error) {
    if (error instanceof ApiError) return error;
    throw error;
  }
  throw new Error('it did not fail');
}

it('asks for a window of the chart and reads its octets', async () => {
  const picture = { fromS: 1.5, toS: 2, buckets: 100, channels: [] };
  const { fetchLike, calls } = answering(200, encodeZoom(picture));
  const window = { fromS: 1.5, toS: 2, buckets: 100 };
  expect(await createApi(fetchLike).zoom('abcd', window)).toEqual(picture);
  expect(calls[0]).toMatchObject({
    path: '/api/recordings/abcd/zoom?fromS=1.5&toS=2&buckets=100',
    method: 'GET',
  });
  const wrong = answering(200, 'no picture');
  expect((await failure(createApi(wrong.fetchLike).zoom('abcd', window))).code).toBe('not-understood');
  const missing = answering(404, { error: 'not-found', sentence: 'Gone.' });
  expect((await failure(createApi(missing.fetchLike).zoom('abcd', window))).message).toBe('Gone.');
});

it('sends JSON, and a CSV file as its octets', async () => {
  const { recording } = sampleDetail();
  const json = answering(200, recording);
  await createApi(json.fetchLike).moveRecording('abcd', null);
  expect(json.calls[0]).toEqual({
    path: '/api/recordings/abcd',
    method: 'PATCH',
    body: '{"caseId":null}',
  });
  const file = answering(201, recording);
  const octets = new Uint8Array([1, 2, 3]);
  await createApi(file.fetchLike).importCsv('a b.csv', octets, 'wxyz');
  expect(file.calls[0]).toEqual({
    path: '/api/import?name=a%20b.csv&case=wxyz',
    method: 'POST',
    body: octets,
  });
});

it('checks findings on arrival', async () => {
  const good = answering(200, sampleFindings());
  expect((await createApi(good.fetchLike).findings('abcd', { drawLimitA: 0.05 })).wakeUps).toHaveLength(3);
  expect(good.calls[0]!.path).toBe('/api/recordings/abcd/findings?drawLimitA=0.05');
  const bad = answering(200, { ...sampleFindings(), schema: 'other/1' });
  expect((await failure(createApi(bad.fetchLike).findings('abcd'))).code).toBe('not-understood');
});

it('lists newest recordings first, those without a date last', async () => {
  const one = sampleDetail().recording;
  const list = [
    { ...one, id: 'aaaa', startedAt: '2024-01-01T00:00:00.000Z' },
    { ...one, id: 'bbbb', startedAt: null },
    { ...one, id: 'cccc', startedAt: '2025-01-01T00:00:00.000Z' },
  ];
  const { fetchLike, calls } = answering(200, list);
  expect((await createApi(fetchLike).listRecordings('wxyz')).map((r) => r.id)).toEqual([
    'cccc',
    'aaaa',
    'bbbb',
  ]);
  expect(calls[0]!.path).toBe('/api/recordings?case=wxyz');
});

describe('what goes wrong', () => {
  it("shows the server's own sentence", async () => {
    const { fetchLike } = answering(409, { error: 'conflict', sentence: 'Stop it first.' });
    const e = await failure(createApi(fetchLike).deleteRecording('abcd'));
    expect([e.code, sentenceOf(e)]).toEqual(['conflict', 'Stop it first.']);
  });

  it('has a sentence for a reply that is none of ours', async () => {
    const { fetchLike } = answering(500, '<html>oh dear</html>');
    expect((await failure(createApi(fetchLike).status())).code).toBe('internal');
    const gateway = answering(502, '<html>bad gateway</html>');
    expect((await failure(createApi(gateway.fetchLike).status())).code).toBe('unreachable');
    const odd = answering(200, '<html></html>');
    expect((await failure(createApi(odd.fetchLike).status())).code).toBe('not-understood');
  });

  it('says so when there is no server', async () => {
    const api = createApi(() => Promise.reject(new TypeError('Failed to fetch')));
    expect((await failure(api.listCases())).message).toContain('does not answer');
  });

  it('never shows the text of an unknown error', () => {
    expect(sentenceOf(new Error('undefined is not a function'))).not.toContain('undefined');
  });
});

it('writes queries without what is not there', () => {
  expect(queryText({ a: 1, b: undefined, c: null, d: '', e: 'x y&z' })).toBe('?a=1&e=x%20y%26z');
  expect(queryText({})).toBe('');
  expect(csvPath('abcd')).toBe('/api/recordings/abcd/samples.csv');
});
