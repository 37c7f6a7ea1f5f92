import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { unzip } from '../../server/evidence/zip.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';
import { nightdrawIn } from '../helpers/nightdrawIn.ts';
import { sealingBench } from '../helpers/sealedNight.ts';
import { openStore } from '../../server/store/openStore.ts';

let cwd: string;
let id: string;
beforeEach(() => {
  cwd = mkdtempSync(path.join(tmpdir(), 'nightdraw-seal-cli-'));
  const bench = sealingBench(60);
  id = bench.recordingId;
  mkdirSync(path.join(cwd, 'data'));
  bench.store.close();
  writeFileSync(path.join(cwd, 'data/nightdraw.db'), readFileSync(path.join(bench.data, 'nightdraw.db')));
  rmSync(bench.data, { recursive: true });
});
afterEach(() => rmSync(cwd, { recursive: true }));

const run = (...argv: string[]) => nightdrawIn(cwd, ...argv);
const read = (name: string) => new Uint8Array(readFileSync(path.join(cwd, name)));
const membersOf = (name: string) => unzip(read(name), nodeChecker.sha256).members;
const textOf = (name: string) =>
  [...membersOf(name)].map(([member, octets]) => member + Buffer.from(octets).toString()).join('\n');

test('seal, then verify: intact, exit 0, by the key that seal printed', async () => {
  const sealed = await run('seal', id, '-o', 'night.zip');
  expect([sealed.code, sealed.err]).toEqual([0, '']);
  expect(sealed.out).toMatch(/^([0-9a-f]{8} ){7}[0-9a-f]{8}\n$/);
  const { code, out, err } = await run('verify', 'night.zip', '--key', sealed.out.trim());
  expect([code, err]).toEqual([0, '']);
  expect(out).toMatch(/^Intact: /);
  expect(out).toContain(`Signed by ${sealed.out.trim()} (this computer's key).`);
  const json = await run('verify', 'night.zip', '--json');
  expect(JSON.parse(json.out)).toMatchObject({ status: 'intact', differences: [] });
});

test('what differs is exit 1, what is no bundle is exit 2, and nothing is written', async () => {
  await run('seal', id, '-o', 'night.zip');
  const before = readdirSync(cwd).sort();
  expect((await run('verify', 'night.zip', '--key', 'ab'.repeat(32))).code).toBe(1);
  const octets = read('night.zip');
  octets[1000]! ^= 1;
  writeFileSync(path.join(cwd, 'night.zip'), octets);
  const flipped = await run('verify', 'night.zip');
  expect([flipped.code, flipped.out]).toEqual([2, '']);
  expect(flipped.err).toMatch(/^This is not an intact sealed bundle: [^\n]+\.\n$/);
  expect((await run('import', 'night.zip')).code).toBe(2);
  expect((await run('verify', 'none.zip')).err).toMatch(/no file none\.zip/);
  expect(readdirSync(cwd).sort()).toEqual(before);
});

test('a bundle of a former key is known as such', async () => {
  await run('seal', id, '-o', 'night.zip');
  const fresh = await run('seal', '--new-key');
  expect(fresh.code).toBe(0);
  expect((await run('verify', 'night.zip')).out).toContain('(a former key of this computer)');
  await run('seal', id, '-o', 'second.zip');
  expect((await run('verify', 'second.zip', '--key', fresh.out.trim())).code).toBe(0);
});

test('without identity no plate, name or note is in it, and it verifies', async () => {
  await run('seal', id, '-o', 'whole.zip');
  for (const word of ['AB12', 'Example', 'Handle dead']) expect(textOf('whole.zip')).toContain(word);
  expect((await run('seal', id, '-o', 'bare.zip', '--without', 'identity,photos')).code).toBe(0);
  for (const word of ['AB12', 'Example', 'Handle dead']) expect(textOf('bare.zip')).not.toContain(word);
  expect((await run('verify', 'bare.zip')).code).toBe(0);
  expect([...membersOf('bare.zip').keys()].some((m) => m.endsWith('events/0001.json'))).toBe(false);
  expect((await run('seal', id, '-o', 'x.zip', '--without', 'plate')).err).toMatch(
    /--without knows identity/,
  );
});

test('an imported bundle is the same recording elsewhere, still verifiable, and seals to the same tree', async () => {
  await run('seal', id, '-o', 'night.zip');
  const there = (...argv: string[]) => run(...argv, '--data', 'elsewhere');
  const imported = await there('import', 'night.zip');
  expect([imported.code, imported.err]).toEqual([0, '']);
  const other = imported.out.trim();
  const csv = (text: string) => text.replaceAll(/"\{""recording"".*?\}"/g, '');
  expect(csv((await there('export', other)).out)).toBe(csv((await run('export', id)).out));
  expect((await there('verify', other)).out).toMatch(/^Intact: /);
  expect((await there('verify', 'night.zip')).out).toContain('a key that this computer does not know');
  await there('seal', other, '-o', 'again.zip');
  expect((await there('verify', 'again.zip')).code).toBe(0);
  const rootIn = (name: string) => /"root":"([0-9a-f]{64})"/.exec(textOf(name))![1];
  expect(rootIn('again.zip')).toBe(rootIn('night.zip'));
  const [here, away] = [
    openStore(path.join(cwd, 'data/nightdraw.db')),
    openStore(path.join(cwd, 'elsewhere/nightdraw.db')),
  ];
  const [a, b] = [here.getRecording(id), away.getRecording(other)];
  expect({ ...b, id: a.id, caseId: a.caseId, provenance: a.provenance, channels: [] }).toEqual({
    ...a,
    channels: [],
  });
  expect(b.channels.map((c) => away.readSamples(c.id))).toEqual(
    a.channels.map((c) => here.readSamples(c.id)),
  );
  expect(away.listEvents(other)).toEqual(here.listEvents(id));
  expect(away.getCase(b.caseId!).plateOrVin).toBe('AB12 CDE');
  here.close();
  away.close();
});

test('a bundle without identity can be imported and sealed again too', async () => {
  await run('seal', id, '-o', 'bare.zip', '--without', 'identity');
  const other = (await run('import', 'bare.zip')).out.trim();
  expect((await run('verify', other)).out).toMatch(/^Intact: /);
  expect((await run('seal', other, '-o', 'again.zip')).code).toBe(0);
  expect((await run('verify', 'again.zip')).code).toBe(0);
});

test('names what is missing', async () => {
  expect((await run('seal')).err).toMatch(/Name the recording/);
  expect((await run('seal', id)).err).toMatch(/Say where to write/);
  expect((await run('seal', 'nope1234', '-o', 'x.zip')).err).toMatch(/no such recording/);
  expect((await run('verify', id)).err).toMatch(/Nothing of this recording was sealed/);
  expect(existsSync(path.join(cwd, 'x.zip'))).toBe(false);
});
