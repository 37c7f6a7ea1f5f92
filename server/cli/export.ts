import { closeSync, openSync, renameSync, rmSync, writeSync } from 'node:fs';
import path from 'node:path';
import { gzipSync } from 'node:zlib';
import { exportCsv } from '../capture/csvExport.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Store } from '../store/store.ts';
import { UsageError, type Command } from './command.ts';
import { DATA_OPTION, DATA_USAGE, onlyPositional, withStore } from './data.ts';

export const exportCommand: Command = {
  name: 'export',
  summary: "writes a recording as CSV or Parquet with the meter's own digits",
  usage: [
    'Usage: nightdraw export RECORDING [--format csv|parquet] [-o FILE] [--data DIR]',
    '',
    'Importing a CSV that was exported gives the same recording again. Parquet is for other programs; its columns are',
    'described in server/capture/PARQUET.md.',
    '',
    '  --format NAME  csv or parquet; without it parquet where FILE ends in .parquet, else csv',
    '  -o FILE        file to write; a CSV is packed when its name ends in .gz, and goes to standard output without -o',
    DATA_USAGE.replace('  --data DIR  ', '  --data DIR     '),
  ].join('\n'),
  options: {
    format: { type: 'string' },
    output: { type: 'string', short: 'o' },
    ...DATA_OPTION,
  },

  async run(context, args) {
    const id = onlyPositional(args, 'the recording to export by its id');
    const output = typeof args.values.output === 'string' ? args.values.output : null;
    const format = args.values.format ?? (output?.endsWith('.parquet') ? 'parquet' : 'csv');
    const pieces = await piecesIn(String(format));
    if (output === null && format !== 'csv') throw new UsageError('Name the file to write with -o FILE.');
    withStore(context, args, (store) => {
      if (output !== null) {
        const packed = format === 'csv' && output.endsWith('.gz');
        writeWhole(path.resolve(context.cwd, output), pieces(store, id), packed);
        return;
      }
      // A piece ends at the end of a line, so no letter is cut.
      for (const piece of pieces(store, id))
        context.stdout(Buffer.from(piece.buffer, piece.byteOffset, piece.length).toString());
    });
    return 0;
  },
};

async function piecesIn(format: string): Promise<(store: Store, id: string) => Iterable<Uint8Array>> {
  if (format === 'csv') return exportCsv;
  if (format !== 'parquet') throw new UsageError(`The format "${format}" is not known; use csv or parquet.`);
  const { exportParquet } = await import('../capture/parquetExport.ts');
  return (store, id) => exportParquet(store, id);
}

/** The file appears under its name only once it is whole; gzip members one after another are one gzip file. */
function writeWhole(file: string, pieces: Iterable<Uint8Array>, packed: boolean): void {
  const unfinished = `${file}.part`;
  try {
    const handle = openSync(unfinished, 'w');
    try {
      for (const piece of pieces) writeAll(handle, packed ? gzipSync(piece) : piece);
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

function writeAll(handle: number, bytes: Uint8Array): void {
  for (let at = 0; at < bytes.length;) at += writeSync(handle, bytes, at);
}
