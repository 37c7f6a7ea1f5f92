import { gzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { errorBodySchema } from '../../server/messages/errors.ts';
import { createWebBench, type Answer, type WebBench } from '../helpers/webBench.ts';

let bench: WebBench;

beforeAll(async () => {
  bench = await createWebBench();
});
afterAll(() => bench.close());

function expectRefusal(answer: Answer, status: number, code: string): void {
  expect([answer.status, errorBodySchema.parse(answer.json()).error]).toEqual([status, code]);
}

describe('whom the server answers', () => {
  it.each(['127.0.0.1', 'localhost', 'LOCALHOST'])('a request to %s with its port', async (name) => {
    const answer = await bench.ask('/api/status', { headers: { host: `${name}:${bench.port}` } });
    expect(answer.status).toBe(200);
  });

  // A name that DNS re-binds to this machine keeps its own name in Host (RFC 9110, 7.2).
  it.each([
    'rebound.example',
    'rebound.example:PORT',
    '127.0.0.1',
    '127.0.0.1:1',
    '127.0.0.2:PORT',
    '[::1]:PORT',
    'localhost.rebound.example:PORT',
    '127.0.0.1:PORT@rebound.example',
  ])('no request to "%s"', async (host) => {
    for (const path of ['/', '/api/status', '/assets/main-1a2b.js', '/socket.io/?EIO=4&transport=polling']) {
      const answer = await bench.ask(path, { headers: { host: host.replace('PORT', String(bench.port)) } });
      expect([path, answer.status]).toEqual([path, 403]);
    }
  });

  it('no request with two hosts or none (RFC 9112, 3.2)', async () => {
    const own = `Host: 127.0.0.1:${bench.port}\r\n`;
    const end = 'Connection: close\r\n\r\n';
    expect(await bench.raw(`GET /api/status HTTP/1.1\r\n${own}${end}`)).toMatch(/^HTTP\/1.1 200 /);
    expect(await bench.raw(`GET /api/status HTTP/1.1\r\n${end}`)).toMatch(/^HTTP\/1.1 400 /);
    const two = await bench.raw(`GET /api/status HTTP/1.1\r\n${own}Host: rebound.example\r\n${end}`);
    expect(two).toMatch(/^HTTP\/1.1 40[03] /);
    expect(await bench.raw(`GET /api/status HTTP/1.1\r\nHost:\r\n${end}`)).toMatch(/^HTTP\/1.1 403 /);
    // HTTP/1.0 may leave Host out; then nobody can tell who is meant.
    expect(await bench.raw(`GET /api/status HTTP/1.0\r\n${end}`)).toMatch(/^HTTP\/1.1 403 /);
  });

  it('its own page, by Origin (RFC 6454, 7)', async () => {
    const post = (origin: string) =>
      bench.ask('/api/cases', { body: { title: 'From a page' }, headers: { origin } });
    expect((await post(bench.url)).status).toBe(201);
    const before = bench.store.listCases().length;
    for (const origin of [
      'http://rebound.example',
      `http://localhost:${bench.port}`,
      `https://127.0.0.1:${bench.port}`,
      'http://127.0.0.1',
      `http://127.0.0.1:${bench.port + 1}`,
      'null',
      '',
    ])
      expectRefusal(await post(origin), 403, 'origin-refused');
    expect(bench.store.listCases()).toHaveLength(before);
  });

  it('no form of a foreign page, whatever type it claims', async () => {
    const before = bench.store.listCases().length;
    for (const type of [
      'text/plain',
      'application/x-www-form-urlencoded',
      'multipart/form-data; boundary=x',
    ]) {
      const own = { 'content-type': type };
      const body = '{"title":"From a form"}';
      const foreign = { ...own, origin: 'http://rebound.example' };
      expectRefusal(await bench.ask('/api/cases', { body, headers: foreign }), 403, 'origin-refused');
      // Even without an Origin, only JSON is read as a body.
      expectRefusal(await bench.ask('/api/cases', { body, headers: own }), 400, 'bad-request');
    }
    expect(bench.store.listCases()).toHaveLength(before);
  });

  // W3C Fetch Metadata Request Headers: Sec-Fetch-Site, Sec-Fetch-Mode, Sec-Fetch-Dest.
  it.each([
    ['same-origin', 'cors', 'empty', '/api/cases', 200],
    ['none', 'navigate', 'document', '/', 200],
    ['cross-site', 'navigate', 'document', '/', 200],
    ['same-site', 'navigate', 'document', '/cases/abcd', 200],
    ['cross-site', 'no-cors', 'script', '/assets/main-1a2b.js', 403],
    ['cross-site', 'navigate', 'iframe', '/', 403],
    ['cross-site', 'navigate', 'document', '/api/cases', 403],
    ['cross-site', 'no-cors', 'image', '/api/status', 403],
    ['same-site', 'cors', 'empty', '/api/cases', 403],
    ['cross-site', 'navigate', 'document', '/socket.io/?EIO=4&transport=polling', 403],
  ])('%s %s of a %s: %s is %i', async (site, mode, dest, path, status) => {
    const headers = { 'sec-fetch-site': site, 'sec-fetch-mode': mode, 'sec-fetch-dest': dest };
    expect((await bench.ask(path, { headers })).status).toBe(status);
  });

  it('no preflight of a foreign page, and it allows no foreign origin anything', async () => {
    const headers = { origin: 'http://rebound.example', 'access-control-request-method': 'PUT' };
    const answer = await bench.ask('/api/cases', { method: 'OPTIONS', headers });
    expect(answer.status).toBe(403);
    for (const path of ['/api/status', '/', '/socket.io/?EIO=4&transport=polling']) {
      const names = Object.keys((await bench.ask(path)).headers);
      expect(names.filter((name) => name.startsWith('access-control-'))).toEqual([]);
    }
  });
});

describe('every answer', () => {
  it.each([
    '/',
    '/cases/abcd',
    '/assets/main-1a2b.js',
    '/api/status',
    '/api/none',
    '/none.js',
    '/api/cases/%E0%A4%A',
  ])('carries the security headers: %s', async (path) => {
    const { headers } = await bench.ask(path);
    const directives = String(headers['content-security-policy']).split('; ');
    const policy: Record<string, string> = Object.fromEntries(
      directives.map((d) => [d.split(' ')[0], d.split(' ').slice(1).join(' ')] as [string, string]),
    );
    // Content Security Policy Level 3: what is not named falls back to default-src.
    expect(policy).toMatchObject({
      'default-src': "'none'",
      'script-src': "'self'",
      'style-src': "'self'",
      'connect-src': "'self'",
      'base-uri': "'none'",
      'form-action': "'none'",
      'frame-ancestors': "'none'",
    });
    expect(String(headers['content-security-policy'])).not.toMatch(/unsafe|https?:|\*/);
    expect(headers).toMatchObject({
      'x-content-type-options': 'nosniff',
      'referrer-policy': 'no-referrer',
      'cross-origin-opener-policy': 'same-origin',
      'cross-origin-resource-policy': 'same-origin',
      'x-frame-options': 'DENY',
    });
    expect(headers['x-powered-by']).toBeUndefined();
  });

  it('says how long it may be kept', async () => {
    const kept = async (path: string) => (await bench.ask(path)).headers['cache-control'];
    expect(await kept('/api/status')).toBe('no-store');
    expect(await kept('/api/none')).toBe('no-store');
    expect(await kept('/')).toBe('no-cache');
    expect(await kept('/assets/main-1a2b.js')).toContain('immutable');
  });
});

describe('bad requests', () => {
  it.each([
    '/../outside.txt',
    '/assets/../../outside.txt',
    '/%2e%2e/outside.txt',
    '/%2e%2e%2foutside.txt',
    '/..%5coutside.txt',
    '/assets/%00',
    '/.secret',
    '//outside.txt',
    '/nightdraw.db',
  ])('reach no file outside the page: %s', async (path) => {
    const answer = await bench.ask(path);
    expect(answer.status).toBeGreaterThanOrEqual(400);
    expect(answer.status).toBeLessThan(500);
    expect(answer.text).not.toMatch(/outside$|secret$|SQLite/);
    errorBodySchema.parse(answer.json());
  });

  it.each([
    ['GET', '/api/none'],
    ['POST', '/api/none'],
    ['GET', '/api/cases/abcd1234'],
    ['DELETE', '/api/recordings/abcd1234'],
    ['POST', '/api/recordings/abcd1234/stop'],
    ['GET', '/api/recordings/abcd1234/samples.csv'],
    ['GET', '/api/recordings/abcd1234/findings'],
    ['GET', '/api/recordings/abcd1234/chart'],
    ['POST', '/api/meters/server:none/disconnect'],
    ['POST', '/'],
    ['GET', '/none.js'],
  ])('%s %s is not found', async (method, path) => {
    expectRefusal(await bench.ask(path, { method }), 404, 'not-found');
  });

  it.each([
    ['GET', '/api/cases/ABCD'],
    ['GET', "/api/cases/x'%20OR%201=1"],
    ['GET', `/api/cases/${'a'.repeat(500)}`],
    ['GET', '/api/cases/%E0%A4%A'],
    ['GET', '/api/recordings?case=..'],
    ['GET', '/api/recordings?case=abcd&case=efgh'],
    ['GET', '/api/recordings/..%2f..%2f'],
    ['POST', '/api/meters/nowhere:x/connect'],
    ['POST', '/api/meters/page:x/connect'],
    ['POST', '/api/import'],
  ])('%s %s is no well-formed request', async (method, path) => {
    expectRefusal(await bench.ask(path, { method }), 400, 'bad-request');
  });

  it('that are no JSON, or none that is expected, are refused with the field that is wrong', async () => {
    const post = (body: string | object, type = 'application/json') =>
      bench.ask('/api/cases', { body, headers: { 'content-type': type } });
    expectRefusal(await post('{"title":'), 400, 'bad-request');
    expectRefusal(await post('"title"'), 400, 'bad-request');
    expectRefusal(await post('[]'), 400, 'bad-request');
    expectRefusal(await post('{}', 'application/json; charset=koi8-r'), 400, 'bad-request');
    const wrong = await post({ title: 'x', thresholdV: 'twelve' });
    expectRefusal(wrong, 400, 'bad-request');
    expect(wrong.json<{ sentence: string }>().sentence).toContain('thresholdV');
    expectRefusal(await post({ title: 'x', colour: 'red' }), 400, 'bad-request');
    const polluted = await post('{"title":"x","__proto__":{"demo":true}}');
    expect([201, 400]).toContain(polluted.status);
    expect(({} as { demo?: boolean }).demo).toBeUndefined();
  });

  it('that are too large are refused before they are read', async () => {
    const title = 'x'.repeat(70_000);
    expectRefusal(await bench.ask('/api/cases', { body: { title } }), 413, 'too-large');
    const bomb = gzipSync(Buffer.from(JSON.stringify({ title: 'x'.repeat(10_000_000) })));
    const headers = { 'content-type': 'application/json', 'content-encoding': 'gzip' };
    expectRefusal(await bench.ask('/api/cases', { body: bomb, headers }), 413, 'too-large');
    const declared = await bench.raw(
      `POST /api/import?name=x HTTP/1.1\r\nHost: 127.0.0.1:${bench.port}\r\nConnection: close\r\nContent-Length: 999999999999\r\n\r\n`,
    );
    expect(declared).toMatch(/^HTTP\/1.1 413 /);
  });

  it('leave no trace in the log, because they are no fault of the server', () => {
    expect(bench.log).toEqual([]);
  });
});
