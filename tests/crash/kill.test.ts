import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import Database from 'better-sqlite3';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { openStore } from '../../server/store/openStore.ts';
import { NIGHT } from '../contract/store.ts';
import { bundleForNode } from '../helpers/bundle.ts';
import { seeded } from '../helpers/seeded.ts';
import { columnsOfCommit, METER, SAMPLES_A_COMMIT } from './committer.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-crash-'));
const file = path.join(folder, 'nightdraw.db');
let program: Awaited<ReturnType<typeof bundleForNode>>;
beforeAll(async () => (program = await bundleForNode('tests/crash/committer.ts')));
afterAll(() => {
  program.remove();
  rmSync(folder, { recursive: true });
});

/** Lets the committer run until some time after its first commit, kills it, and returns the last number it said. */
async function killedAfter(delayMs: number): Promise<number> {
  const child = spawn(process.execPath, [program.file, file], { stdio: ['ignore', 'pipe', 'inherit'] });
  let said = '';
  child.stdout.setEncoding('utf8').on('data', (text: string) => (said += text));
  await once(child.stdout, 'data');
  await wait(delayMs);
  const ended = once(child, 'close');
  child.kill('SIGKILL');
  expect(await ended).toEqual([null, 'SIGKILL']);
  // A number cut off by the kill was written after its commit, but only whole lines count as said.
  return Number(said.split('\n').at(-2));
}

test('a reader beside a writer sees whole commits and never a hole', { timeout: 60_000 }, async () => {
  const shared = path.join(folder, 'shared.db');
  const store = openStore(shared);
  const { id, channels } = store.createRecording(NIGHT);
  const child = spawn(process.execPath, [program.file, shared], { stdio: ['ignore', 'pipe', 'inherit'] });
  child.stdout.resume();
  let seen = 0;
  while (seen < 250 * SAMPLES_A_COMMIT) {
    const { t } = store.readSamples(channels[seen % 2]!.id);
    expect(t.length % SAMPLES_A_COMMIT).toBe(0);
    expect(t.length).toBeGreaterThanOrEqual(seen);
    expect(t.every((x, i) => x === (SAMPLES_A_COMMIT + i) * 5)).toBe(true);
    expect(store.lastBatch(id, METER)).toBeGreaterThanOrEqual(t.length / SAMPLES_A_COMMIT);
    seen = t.length;
    await wait(1);
  }
  const ended = once(child, 'close');
  child.kill('SIGKILL');
  await ended;
  store.close();
});

test('whatever was acknowledged before kill -9 is there, whole, each time', { timeout: 60_000 }, async () => {
  const store = openStore(file);
  const { id, channels } = store.createRecording(NIGHT);
  store.close();
  const random = seeded(99);
  let acknowledged = 0;
  // A slow machine needs more rounds to reach past several folds of the open tail into blocks.
  const enough = () => acknowledged * SAMPLES_A_COMMIT > 5 * 8192;
  for (let round = 0; round < 12 || (!enough() && round < 60); round++) {
    acknowledged = await killedAfter(random() * 150);
    const again = openStore(file);
    const stored = again.lastBatch(id, METER);
    // The kill may have fallen between a commit and its word.
    expect([acknowledged, acknowledged + 1]).toContain(stored);
    expect(again.listEvents(id).map((e) => e.text)).toEqual(
      Array.from({ length: stored }, (_, i) => `commit ${i + 1}`),
    );
    for (const channel of channels) {
      const { t, counts } = again.readSamples(channel.id);
      expect(t.length).toBe(stored * SAMPLES_A_COMMIT);
      for (const number of [1, Math.ceil(stored / 2), stored]) {
        const expected = columnsOfCommit(number);
        const at = (number - 1) * SAMPLES_A_COMMIT;
        expect(t.slice(at, at + SAMPLES_A_COMMIT)).toEqual(expected.t);
        expect(counts.slice(at, at + SAMPLES_A_COMMIT)).toEqual(expected.counts);
      }
      expect(t.every((x, i) => x === (SAMPLES_A_COMMIT + i) * 5)).toBe(true);
    }
    expect(again.listGaps(id)).toEqual([]);
    again.close();
  }
  const db = new Database(file, { readonly: true });
  expect(db.pragma('integrity_check', { simple: true })).toBe('ok');
  expect(db.pragma('foreign_key_check')).toEqual([]);
  db.close();
  expect(enough()).toBe(true);
});
