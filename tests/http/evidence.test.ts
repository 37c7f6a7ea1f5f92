import { createHash } from 'node:crypto';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { verifyBundle } from '../../server/evidence/verify.ts';
import { unzip } from '../../server/evidence/zip.ts';
import { importCsvFile } from '../../server/capture/import.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';
import { caseInputSchema, recordingSchema } from '../../server/messages/records.ts';
import { sealStateSchema } from '../../server/messages/seal.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

let bench: WebBench;
let id: string;
beforeEach(async () => {
  bench = await createWebBench();
  const { store } = bench;
  const { id: caseId } = store.createCase(
    caseInputSchema.parse({
      title: 'A case',
      plateOrVin: 'AB12 CDE',
      complaint: '',
      notes: '',
      battery: null,
      thresholdV: null,
      drawLimitA: null,
    }),
  );
  const csv = 'time_s,current_A,voltage_V\n0,0.025,12.630\n0.1,0.026,\n0.2,0.024,12.629\n';
  id = importCsvFile(store, new TextEncoder().encode(csv), { name: 'night.csv', caseId }).id;
});
afterEach(() => bench.close());

const fetched = async (path: string) => {
  const response = await fetch(`${bench.url}/api/${path}`);
  const octets = new Uint8Array(await response.arrayBuffer());
  return { response, octets, text: Buffer.from(octets).toString('latin1') };
};

test('a bundle to keep verifies by the key that the server shows', async () => {
  const { response, octets } = await fetched(`recordings/${id}/bundle.zip`);
  expect(response.status).toBe(200);
  expect(response.headers.get('content-disposition')).toBe(`attachment; filename="nightdraw-${id}.zip"`);
  const { fingerprint } = JSON.parse((await fetched('key')).text) as { fingerprint: string };
  const found = verifyBundle(octets, nodeChecker, { key: fingerprint });
  expect(found).toMatchObject({ status: 'intact', signedBy: fingerprint });
  expect(found.contents!.record.case?.plateOrVin).toBe('AB12 CDE');
});

test('the bundle that was made last is named by the seal and by the report', async () => {
  const seal = async () => sealStateSchema.parse(JSON.parse((await fetched(`recordings/${id}/seal`)).text));
  const before = await seal();
  expect(before).toMatchObject({ heads: 0, lastHeadAt: null, faults: [], bundles: [] });
  expect((await fetched(`recordings/${id}/report.html`)).text).toContain('none was made yet');
  const { octets } = await fetched(`recordings/${id}/bundle.zip?without=photos`);
  const sha256 = createHash('sha256').update(octets).digest('hex');
  expect((await seal()).bundles).toMatchObject([{ sha256, without: ['photos'] }]);
  expect((await fetched(`recordings/${id}/report.html`)).text).toContain(`SHA-256 ${sha256}`);
  const inside = [...unzip(octets, nodeChecker.sha256).members].find(([name]) =>
    name.endsWith('report.html'),
  )!;
  expect(Buffer.from(inside[1]).toString()).toContain('this report lies in it');
  bench.store.deleteRecording(id);
  expect((await fetched(`recordings/${id}/seal`)).response.status).toBe(404);
});

test('a bundle without identity says nothing of the car', async () => {
  const { octets } = await fetched(`recordings/${id}/bundle.zip?without=identity`);
  const found = verifyBundle(octets, nodeChecker);
  expect(found.status).toBe('intact');
  expect(found.contents!.record.case).toBeNull();
});

test('a bundle that is posted comes back as the recording that it was, with its case', async () => {
  const { octets } = await fetched(`recordings/${id}/bundle.zip`);
  const post = async (body: Uint8Array) =>
    fetch(`${bench.url}/api/import?name=night.zip`, { method: 'POST', body: new Uint8Array(body) });
  const response = await post(octets);
  expect(response.status).toBe(201);
  const made = recordingSchema.parse(await response.json());
  expect(made.id).not.toBe(id);
  expect(made.channels.map((c) => c.samples)).toEqual([3, 2]);
  expect(bench.store.getCase(made.caseId!).plateOrVin).toBe('AB12 CDE');
  octets[octets.length >> 1]! ^= 1;
  const refused = await post(octets);
  expect([refused.status, await refused.json()]).toMatchObject([422, { error: 'unreadable-file' }]);
  expect(bench.store.listRecordings()).toHaveLength(2);
});

test.each([
  ['report.pdf?paper=letter&for=customer', 'application/pdf', '%PDF-1.'],
  ['report.html', 'text/html; charset=utf-8', '<!doctype html>'],
  ['report.csv', 'text/csv; charset=utf-8; header=present', 'figure,value,note'],
])('%s', async (name, type, start) => {
  const { response, text } = await fetched(`recordings/${id}/${name}`);
  expect([response.status, response.headers.get('content-type')]).toEqual([200, type]);
  expect(response.headers.get('content-disposition')).toMatch(/^attachment; /);
  expect(text.startsWith(start)).toBe(true);
});

test.each([
  ['recordings/nope1234/bundle.zip', 404],
  ['recordings/nope1234/report.pdf', 404],
  ['report.pdf?paper=a3', 400],
  ['report.doc', 400],
  ['bundle.zip?without=plate', 400],
])('%s is refused with %d', async (path, status) => {
  const full = path.startsWith('recordings') ? path : `recordings/${id}/${path}`;
  expect((await fetched(full)).response.status).toBe(status);
});
