import { closeSync, openSync, renameSync, rmSync, writeSync } from 'node:fs';
import path from 'node:path';
import { gzipSync } from 'node:zlib';
import { exportCsv } from '../capture/csvExport.ts';
import { NightdrawError } from '../messages/errors.ts';
import { UsageError, type Command } from './command.ts';
import { DATA_OPTION, DATA_USAGE, onlyPositional, withStore } from './data.ts';

export const exportCommand: Command = {
  name: 'export',
  summary: "writes a recording as CSV with the meter's own digits",
  usage: [
    'Usage: nightdraw export RECORDING [--format csv] [-o FILE] [--data DIR]',
    '',
    'Importing the file gives the same recording again.',
    '',
    '  --format csv  the only format so far',
    '  -o FILE       file to write, packed when its name ends in .gz; without it the text goes to standard output',
    DATA_USAGE,
  ].join('\n'),
  options: {
    format: { type: 'string', default: 'csv' },
    output: { type: 'string', short: 'o' },
    ...DATA_OPTION,
  },

  async run(context, args) {
    const id = onlyPositional(args, 'the recording to export by its id');
    const { format, output } = args.values;
    if (format !== 'csv') throw new UsageError(`The format "${String(format)}" is not known; use csv.`);
    withStore(context, args, (store) => {
      const pieces = exportCsv(store, id);
      if (typeof output === 'string') writeWhole(path.resolve(context.cwd, output), pieces);
      else for (const piece of pieces) context.stdout(piece);
    });
    return 0;
  },
};

/** The file appears under its name only once it is whole; gzip members one after another are one gzip file. */
function writeWhole(file: string, pieces: Iterable<string>): void {
  const unfinished = `${file}.part`;
  try {
    const handle = openSync(unfinished, 'w');
    try {
      for (const piece of pieces)
        writeAll(handle, file.endsWith('.gz') ? gzipSync(piece) : Buffer.from(piece));
    } finally {
      closeSync(handle);
    }
    renameSync(unfinished, file);
  } catch (error) {
    rmSync(unfinished, { force: true });
    const { code } = error as { code?: string };
    if (error instanceof NightdrawError || code === undefined) throw error;
    if (code === 'ENOSPC')
      throw new NightdrawError('store-full', `The disk is full; ${file} was not written.`);
    throw new UsageError(`${file} cannot be written (${code}); choose another place.`);
  }
}

function writeAll(handle: number, bytes: Buffer): void {
  for (let at = 0; at < bytes.length;) at += writeSync(handle, bytes, at);
}
