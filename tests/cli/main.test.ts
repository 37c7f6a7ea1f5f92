import { spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { bundleForNode } from '../helpers/bundle.ts';

let program: Awaited<ReturnType<typeof bundleForNode>>;
const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-main-'));
const env = { ...process.env, NIGHTDRAW_DATA: path.join(folder, 'data') };
beforeAll(async () => (program = await bundleForNode('server/main.ts')));
afterAll(() => {
  program.remove();
  rmSync(folder, { recursive: true });
});

const run = (...argv: string[]) =>
  spawnSync(process.execPath, [program.file, ...argv], { encoding: 'utf8', env, cwd: folder });

test('the program exits with the command code and keeps its two streams apart', () => {
  writeFileSync(path.join(folder, 'a.csv'), 'time_s,current_A\n0,0.025\n1,0.025\n');
  const good = run('import', 'a.csv', '--json');
  expect([good.status, good.stderr]).toEqual([0, '']);
  expect(() => JSON.parse(good.stdout) as unknown).not.toThrow();
  const bad = run('import', 'none.csv');
  expect([bad.status, bad.stdout]).toEqual([2, '']);
});

test('a reader that has seen enough is no failure', async () => {
  const rows = Array.from({ length: 200_000 }, (_, i) => `${i / 10},0.025`);
  writeFileSync(path.join(folder, 'long.csv'), `time_s,current_A\n${rows.join('\n')}\n`);
  const id = run('import', 'long.csv').stdout.trim();
  const child = spawn(process.execPath, [program.file, 'export', id], { env, cwd: folder });
  let err = '';
  child.stderr.setEncoding('utf8').on('data', (text: string) => (err += text));
  await once(child.stdout, 'data');
  child.stdout.destroy();
  const [code] = (await once(child, 'close')) as [number | null];
  expect([code, err]).toEqual([0, '']);
});
