import { spawnSync } from 'node:child_process';
import {
  accessSync,
  constants,
  cpSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';

const ROOT = path.resolve(import.meta.dirname, '../..');
let copy: string;
beforeEach(() => {
  copy = mkdtempSync(path.join(tmpdir(), 'nightdraw-launcher-'));
  mkdirSync(path.join(copy, 'server', 'cli'), { recursive: true });
  cpSync(path.join(ROOT, launcher()), path.join(copy, 'server', 'cli', 'nightdraw.mjs'));
});
afterEach(() => rmSync(copy, { recursive: true }));

/** What npx runs: the package's one program. */
function launcher(): string {
  const { bin } = JSON.parse(readFileSync(path.join(ROOT, 'package.json'), 'utf8')) as {
    bin: { nightdraw: string };
  };
  return bin.nightdraw;
}

const run = (...argv: string[]) =>
  spawnSync(process.execPath, [path.join(copy, 'server', 'cli', 'nightdraw.mjs'), ...argv], {
    encoding: 'utf8',
  });

test('what npx runs can be executed and says what to do before the build', () => {
  expect(() => accessSync(path.join(ROOT, launcher()), constants.X_OK)).not.toThrow();
  const { status, stdout, stderr } = run('--help');
  expect([status, stdout]).toEqual([2, '']);
  expect(stderr).toMatch(/^Nightdraw is not built yet; run "[^"]+"[^\n]+\n$/);
});

test('after the build it hands over, arguments and exit code included', () => {
  mkdirSync(path.join(copy, '.build', 'server'), { recursive: true });
  writeFileSync(
    path.join(copy, '.build', 'server', 'main.js'),
    'console.log(process.argv.slice(2).join()); process.exitCode = 1;',
  );
  writeFileSync(path.join(copy, 'package.json'), '{"type":"module"}');
  expect(run('a', '-b')).toMatchObject({ status: 1, stdout: 'a,-b\n', stderr: '' });
});
