import { closeSync, fsyncSync, openSync, renameSync, rmSync, writeSync } from 'node:fs';
import { NightdrawError } from '../messages/errors.ts';
import { UsageError } from './command.ts';

/** The file appears under its name only once it is whole. @throws UsageError, NightdrawError store-full */
export function writeOctets(file: string, octets: Uint8Array): Promise<void> {
  return writePieces(file, async (write) => write(octets));
}

/** The same of what comes piece by piece. */
export async function writePieces(
  file: string,
  work: (write: (octets: Uint8Array) => void) => Promise<void>,
): Promise<void> {
  const unfinished = `${file}.part`;
  try {
    const handle = openSync(unfinished, 'w');
    try {
      await work((octets) => {
        for (let at = 0; at < octets.length;) at += writeSync(handle, octets, at);
      });
      fsyncSync(handle);
    } finally {
      closeSync(handle);
    }
    renameSync(unfinished, file);
  } catch (error) {
    rmSync(unfinished, { force: true });
    const { code, syscall } = error as { code?: unknown; syscall?: unknown };
    if (typeof code !== 'string' || syscall === undefined) throw error;
    if (code === 'ENOSPC')
      throw new NightdrawError('store-full', `The disk is full; ${file} was not written.`);
    throw new UsageError(`${file} cannot be written (${code}); choose another place.`);
  }
}
