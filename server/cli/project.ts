import { existsSync, readFileSync } from 'node:fs';
import path from 'node:path';
import type { CommandContext, ParsedArgs } from './command.ts';

/** The checkout, found from here upwards: this file lies deeper once it is built. */
export const PROJECT_ROOT = findRoot(import.meta.dirname);

export const VERSION = (
  JSON.parse(readFileSync(path.join(PROJECT_ROOT, 'package.json'), 'utf8')) as { version: string }
).version;

/** Where the build puts the page. */
export const PAGE_FOLDER = path.join(PROJECT_ROOT, '.build', 'web');

/** The demo nights, which are also the default home of the database. */
export const DEMO_FOLDER = path.join(PROJECT_ROOT, 'recordings');

/** The folder that holds the database: `--data`, NIGHTDRAW_DATA, or recordings/ in the checkout. */
export function dataFolder({ env, cwd }: CommandContext, { values }: ParsedArgs): string {
  const given = typeof values.data === 'string' ? values.data : env.NIGHTDRAW_DATA;
  return given === undefined || given === ''
    ? path.join(PROJECT_ROOT, 'recordings')
    : path.resolve(cwd, given);
}

export function databaseFile(folder: string): string {
  return path.join(folder, 'nightdraw.db');
}

function findRoot(folder: string): string {
  if (existsSync(path.join(folder, 'package.json'))) return folder;
  const parent = path.dirname(folder);
  if (parent === folder) throw new Error('package.json is missing beside the program.');
  return findRoot(parent);
}
