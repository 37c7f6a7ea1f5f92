import { execFileSync } from 'node:child_process';
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { create } from 'tar';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { signerIn } from '../../server/sealing/keyFile.ts';
import { sealingStore } from '../../server/sealing/sealingStore.ts';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { recordMinutes, startNight, type NightClock } from '../helpers/nightBeingSealed.ts';
import { nightdrawIn } from '../helpers/nightdrawIn.ts';

let cwd: string;
let store: Store;
let id: string;
const START = Date.UTC(2026, 2, 1, 20);
let clock: NightClock;

beforeEach(() => {
  cwd = mkdtempSync(path.join(tmpdir(), 'nightdraw-backup-'));
  const data = path.join(cwd, 'data');
  mkdirSync(data);
  clock = { startMs: START, utcMs: START };
  store = sealingStore(openStore(path.join(data, 'nightdraw.db')), {
    data,
    signer: signerIn(data),
    utcMs: () => clock.utcMs,
    sealEveryMs: 60_000,
    onTrouble: expect.unreachable,
  });
  id = startNight(store, START);
  recordMinutes(store, id, clock, 5);
  writeFileSync(path.join(data, 'bind-keys.json'), '{}');
  mkdirSync(path.join(data, 'a folder of mine'));
  writeFileSync(path.join(data, 'a folder of mine', 'a note.txt'), 'kept');
});
afterEach(() => {
  store.close();
  rmSync(cwd, { recursive: true });
});

const run = (...argv: string[]) => nightdrawIn(cwd, ...argv);
const at = (...names: string[]) => path.join(cwd, ...names);

test('a backup made while recording comes back whole elsewhere: samples, key, seals, files', async () => {
  const made = await run('backup', '-o', 'night.tar');
  expect([made.code, made.err, made.out]).toEqual([0, '', `${at('night.tar')}\n`]);
  // The recording goes on after the backup.
  clock.utcMs += 70_000;
  store.commit({ recordingId: id, samples: [], gaps: [], events: [event(9000)], batch: null });

  const back = await run('restore', 'night.tar', '--data', 'elsewhere');
  expect([back.code, back.err]).toEqual([0, '']);
  expect(readdirSync(at('elsewhere')).sort()).toEqual(
    ['a folder of mine', 'bind-keys.json', 'keys', 'nightdraw.db', 'seals'].sort(),
  );
  expect(readFileSync(at('elsewhere', 'a folder of mine', 'a note.txt'), 'utf8')).toBe('kept');
  expect(statSync(at('elsewhere', 'keys', 'signing.pem')).mode & 0o777).toBe(0o600);
  expect(signerIn(at('elsewhere')).publicKey).toEqual(signerIn(at('data')).publicKey);
  const other = openStore(at('elsewhere', 'nightdraw.db'));
  const [here, there] = [store.getRecording(id), other.getRecording(id)];
  expect(there.channels).toEqual(here.channels);
  for (const c of there.channels) expect(other.readSamples(c.id)).toEqual(store.readSamples(c.id));
  expect(other.listEvents(id)).toHaveLength(store.listEvents(id).length - 1);
  other.close();
  expect((await run('verify', id, '--data', 'elsewhere')).out).toMatch(/^Intact: /);
});

test('only its owner may read it, and sha256sum alone can check it', async () => {
  await run('backup', '-o', 'night.tar');
  expect(statSync(at('night.tar')).mode & 0o777).toBe(0o600);
  execFileSync('tar', ['xf', 'night.tar'], { cwd });
  const out = execFileSync('sha256sum', ['--strict', '-c', 'manifest-sha256.txt'], {
    cwd: at('nightdraw-backup'),
    encoding: 'utf8',
  });
  expect(out.split('\n').filter((line) => line.endsWith(': OK'))).toHaveLength(6);
  expect(readdirSync(cwd).filter((name) => name.includes('.part'))).toEqual([]);
});

test('nothing is overwritten', async () => {
  await run('backup', '-o', 'night.tar');
  const before = readFileSync(at('data', 'nightdraw.db'));
  const refused = await run('restore', 'night.tar');
  expect(refused.code).toBe(2);
  expect(refused.err).toMatch(/is there already and is not overwritten/);
  expect(readFileSync(at('data', 'nightdraw.db'))).toEqual(before);
  mkdirSync(at('half', 'seals'), { recursive: true });
  expect((await run('restore', 'night.tar', '--data', 'half')).err).toMatch(/seals is there already/);
  expect(readdirSync(at('half'))).toEqual(['seals']);
});

test('a damaged or foreign file is refused whole, and leaves no folder behind', async () => {
  await run('backup', '-o', 'night.tar');
  const octets = readFileSync(at('night.tar'));
  for (const [name, change] of [
    ['database', 'SQLite format 3'],
    ['key', 'BEGIN PRIVATE KEY'],
    ['list', 'manifest-sha256.txt'],
  ] as const) {
    const bad = Buffer.from(octets);
    bad[bad.indexOf(change)]! ^= 1;
    writeFileSync(at('bad.tar'), bad);
    const { code, err } = await run('restore', 'bad.tar', '--data', 'elsewhere');
    expect([name, code]).toEqual([name, 2]);
    expect(err).toMatch(/is damaged|is missing|no backup/);
    expect(existsSync(at('elsewhere'))).toBe(false);
  }
  writeFileSync(at('bad.tar'), octets.subarray(0, octets.length >> 1));
  expect((await run('restore', 'bad.tar', '--data', 'elsewhere')).code).toBe(2);
  writeFileSync(at('text.tar'), 'no tar');
  expect((await run('restore', 'text.tar', '--data', 'elsewhere')).code).toBe(2);
  expect((await run('restore', 'none.tar', '--data', 'elsewhere')).err).toMatch(/There is no file/);
  expect(existsSync(at('elsewhere'))).toBe(false);
});

test('a tar file that leads out of the folder writes nothing there', async () => {
  mkdirSync(at('evil'));
  writeFileSync(at('evil-twin.txt'), 'evil');
  await create({ file: at('evil.tar'), cwd: at('evil'), preservePaths: true }, ['../evil-twin.txt']);
  rmSync(at('evil-twin.txt'));
  expect((await run('restore', 'evil.tar', '--data', at('sub', 'elsewhere'))).code).toBe(2);
  expect(existsSync(at('evil-twin.txt'))).toBe(false);
  expect(existsSync(at('sub', 'evil-twin.txt'))).toBe(false);
});

test('says where it needs a place, and will not write into the data folder', async () => {
  expect((await run('backup')).err).toMatch(/Say where to write/);
  expect((await run('backup', '-o', 'data/x.tar')).err).toMatch(/somewhere else/);
  expect((await run('backup', '-o', 'x.tar', '--data', 'nowhere')).err).toMatch(/nothing to back up/);
  expect((await run('backup', '-o', 'no/such/x.tar')).code).toBe(2);
});

function event(atMs: number) {
  return { atMs, kind: 'note' as const, text: 'after the backup', value: null };
}
