import {
  chmodSync,
  closeSync,
  copyFileSync,
  existsSync,
  fsyncSync,
  mkdirSync,
  mkdtempSync,
  openSync,
} from 'node:fs';
import { readdirSync, renameSync, rmSync, rmdirSync } from 'node:fs';
import path from 'node:path';
import { create, extract } from 'tar';
import { NightdrawError } from '../messages/errors.ts';
import { copyDatabase, faultOfDatabase } from '../store/backup.ts';
import { faultOfBag, filesUnder, makeBag } from './folderBag.ts';

/**
 * A backup: one tar file (POSIX pax) with one bag (RFC 8493) in it, whose payload is the data folder: database, signing
 * keys, logs of seals and whatever else is kept there. It holds the private key, so only its owner may read it.
 */

export interface BackupSource {
  readonly data: string;
  /** Name of the database in the data folder. */
  readonly database: string;
  /** Files and folders at the top of the data folder that are no part of it, as the demo nights of a checkout. */
  readonly leaveOut: readonly string[];
}

/** What is of the moment only: journals of the database, locks, files that are being written. */
const PASSING = /(?:-wal|-shm|-journal|\.lock|\.part|\.new)$|^\.restore-/;
const BAG = 'nightdraw-backup';

/**
 * Writes the whole data folder to `file`, while it is in use. The keys and the seals are copied before the database, so
 * that nothing is sealed in the copy that is not in its database.
 * @throws NightdrawError not-found where there is no database yet; store-failed, store-full
 */
export async function backUp(source: BackupSource, file: string, madeAt: string): Promise<void> {
  const { data, database } = source;
  if (!existsSync(path.join(data, database)))
    throw new NightdrawError('not-found', `There is nothing to back up in ${data} yet.`);
  const unfinished = `${file}.part`;
  const staging = inPlace(file, () => mkdtempSync(`${file}.part-`));
  try {
    await onDisk(file, async () => {
      const payload = path.join(staging, BAG, 'data');
      mkdirSync(payload, { recursive: true, mode: 0o700 });
      for (const name of keptFiles(source)) {
        mkdirSync(path.dirname(path.join(payload, name)), { recursive: true, mode: 0o700 });
        copyFileSync(path.join(data, name), path.join(payload, name));
      }
      copyDatabase(path.join(data, database), path.join(payload, database));
      await makeBag(path.join(staging, BAG), {
        'Bag-Software-Agent': 'nightdraw',
        'Bagging-Date': madeAt.slice(0, 10),
        'External-Description': `Data folder of Nightdraw, ${madeAt}`,
      });
      await create({ file: unfinished, cwd: staging, portable: true, mode: 0o600 }, [BAG]);
      chmodSync(unfinished, 0o600);
      flush(unfinished);
      renameSync(unfinished, file);
    });
  } finally {
    rmSync(staging, { recursive: true, force: true });
    rmSync(unfinished, { force: true });
  }
}

/**
 * Brings the backup `file` back into the folder `data`, made where it is missing: all of it, or nothing.
 * @throws NightdrawError conflict where something of the same name is there; not-found; unreadable-file; store-failed
 */
export async function restore(file: string, data: string, database: string): Promise<void> {
  if (!existsSync(file)) throw new NightdrawError('not-found', `There is no file ${file}.`);
  refuseClash(data, [database]);
  const isNew = !existsSync(data);
  await onDisk(data, async () => {
    mkdirSync(data, { recursive: true, mode: 0o700 });
    const staging = mkdtempSync(path.join(data, '.restore-'));
    try {
      unpack(file, staging);
      const bag = path.join(staging, BAG);
      const payload = path.join(bag, 'data');
      const fault = existsSync(bag) ? await faultOfBag(bag) : 'It is no backup of Nightdraw.';
      const whole = fault ?? faultOfDatabase(path.join(payload, database));
      if (whole !== null) throw new NightdrawError('unreadable-file', `${file} was not restored. ${whole}`);
      for (const name of filesUnder(payload, '')) flush(path.join(payload, name));
      moveInto(data, payload, database);
    } finally {
      rmSync(staging, { recursive: true, force: true });
      if (isNew && readdirSync(data).length === 0) rmdirSync(data);
    }
  });
}

/** The database comes last: until then the folder holds nothing that a start would use. */
function moveInto(data: string, payload: string, database: string): void {
  const names = readdirSync(payload).sort((a, b) => Number(a === database) - Number(b === database));
  refuseClash(data, names);
  const moved: string[] = [];
  try {
    for (const name of names) {
      renameSync(path.join(payload, name), path.join(data, name));
      moved.push(name);
    }
  } catch (error) {
    for (const name of moved) rmSync(path.join(data, name), { recursive: true, force: true });
    throw error;
  }
}

function refuseClash(data: string, names: readonly string[]): void {
  const there = names.find((name) => existsSync(path.join(data, name)));
  if (there !== undefined)
    throw new NightdrawError(
      'conflict',
      `${path.join(data, there)} is there already and is not overwritten; name another folder with --data.`,
    );
}

/** The library refuses names that lead out of the folder; links and devices are left out. */
function unpack(file: string, folder: string): void {
  try {
    // In one go: a refusal must leave no write behind that is still under way.
    extract({
      sync: true,
      file,
      cwd: folder,
      strict: true,
      preserveOwner: false,
      filter: (_name, entry) => 'type' in entry && (entry.type === 'File' || entry.type === 'Directory'),
    });
  } catch (error) {
    if (isFull(error)) throw error;
    throw new NightdrawError('unreadable-file', `${file} is no backup, or it is damaged.`);
  }
}

function keptFiles({ data, database, leaveOut }: BackupSource): string[] {
  return filesUnder(data, '').filter(
    (name) =>
      name !== database &&
      !leaveOut.includes(name.split('/')[0]!) &&
      !name.split('/').some((part) => PASSING.test(part)),
  );
}

function flush(file: string): void {
  const handle = openSync(file, 'r+');
  try {
    fsyncSync(handle);
  } finally {
    closeSync(handle);
  }
}

function isFull(error: unknown): boolean {
  return (error as { code?: string }).code === 'ENOSPC';
}

function inPlace<T>(target: string, work: () => T): T {
  try {
    return work();
  } catch (error) {
    throw refusal(target, error);
  }
}

async function onDisk(target: string, work: () => Promise<void>): Promise<void> {
  try {
    await work();
  } catch (error) {
    throw refusal(target, error);
  }
}

function refusal(target: string, error: unknown): unknown {
  const { code } = error as { code?: unknown };
  if (error instanceof NightdrawError || typeof code !== 'string') return error;
  return isFull(error)
    ? new NightdrawError('store-full', `The disk is full; ${target} was not written.`)
    : new NightdrawError('store-failed', `${target} cannot be written (${code}); choose another place.`);
}
