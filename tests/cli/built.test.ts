import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, symlinkSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';

const ROOT = path.resolve(import.meta.dirname, '../..');
const NATIVE = ['better-sqlite3', '@abandonware/noble'];

/** The built program where nothing is installed but the packages that have a compiled part. */
let copy: string;
beforeAll(() => {
  copy = mkdtempSync(path.join(tmpdir(), 'nightdraw-built-'));
  cpSync(path.join(ROOT, '.build', 'server'), path.join(copy, '.build', 'server'), { recursive: true });
  cpSync(path.join(ROOT, 'package.json'), path.join(copy, 'package.json'));
  for (const name of NATIVE) {
    mkdirSync(path.dirname(path.join(copy, 'node_modules', name)), { recursive: true });
    symlinkSync(path.join(ROOT, 'node_modules', name), path.join(copy, 'node_modules', name));
  }
});
afterAll(() => rmSync(copy, { recursive: true }));

const run = (...argv: string[]) =>
  spawnSync(process.execPath, [path.join(copy, '.build', 'server', 'main.js'), ...argv], {
    encoding: 'utf8',
    env: { ...process.env, NIGHTDRAW_DATA: path.join(copy, 'data') },
  });

describe('the built program', () => {
  test('brings its packages along: every command can be loaded', () => {
    const { status, stdout, stderr } = run('--help');
    expect([status, stderr]).toEqual([0, '']);
    expect(stdout.match(/^ {2}\w+ {2,}\S/gm)?.length).toBeGreaterThanOrEqual(15);
  });

  test('imports, exports, reports and seals a night', () => {
    const night = path.join(ROOT, 'recordings', 'healthy-night', 'night.csv.gz');
    const { stdout } = run('import', night, '--json');
    const id = /"id": ?"([^"]+)"/.exec(stdout)?.[1];
    expect(id).toBeDefined();
    const into = (name: string) => path.join(copy, name);
    for (const [command, file] of [
      ['export', 'night.csv'],
      ['export', 'night.parquet'],
      ['report', 'night.pdf'],
      ['report', 'night.html'],
      ['seal', 'night.zip'],
      ['backup', 'all.tar'],
    ] as const)
      expect(
        run(command, ...(command === 'backup' ? [] : [id!]), '-o', into(file)),
        `${command} ${file}`,
      ).toMatchObject({ status: 0 });
    expect(run('verify', into('night.zip')).status).toBe(0);
  });

  test('keeps readable names, and a map to its sources beside each file', () => {
    const folder = path.join(copy, '.build', 'server');
    const files = readdirSync(folder).filter((file) => file.endsWith('.js'));
    const ours = files.map((file) => readFileSync(path.join(folder, file), 'utf8'));
    expect(ours.join('\n')).toMatch(/^\s*async function listenSomewhere\(/m);
    const map = JSON.parse(readFileSync(path.join(folder, 'main.js.map'), 'utf8')) as { sources: string[] };
    expect(map.sources.map((source) => path.resolve(folder, source))).toContain(
      path.join(copy, 'server', 'main.ts'),
    );
  });
});
