import { COMMIT_EVERY_MS } from '../capture/commitGroup.ts';
import { UsageError, type ParsedArgs } from './command.ts';

export const WRITE_EVERY_OPTION = { 'write-every': { type: 'string' } } as const;

export const WRITE_EVERY_USAGE = [
  `  --write-every N  readings of N milliseconds share one write to the disk, 50 to 1000 (default ${COMMIT_EVERY_MS}); a month`,
  '                   writes about 94 GB at 250 and 23 GB at 1000: take 1000 where the data lie on a memory card',
].join('\n');

/** @throws UsageError */
export function writeEveryMs({ values }: Pick<ParsedArgs, 'values'>): number {
  const text = values['write-every'];
  if (text === undefined) return COMMIT_EVERY_MS;
  const ms = typeof text === 'string' && text.trim() !== '' ? Number(text) : NaN;
  if (!(ms >= 50 && ms <= 1000)) throw new UsageError('--write-every needs a number from 50 to 1000.');
  return ms;
}
