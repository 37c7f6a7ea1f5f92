import { existsSync, statSync } from 'node:fs';
import { openStore } from '../store/openStore.ts';
import type { Store } from '../store/store.ts';
import { UsageError, type CommandContext, type ParsedArgs } from './command.ts';
import { databaseFile, dataFolder } from './project.ts';

export const DATA_OPTION = { data: { type: 'string' } } as const;
export const DATA_USAGE = '  --data DIR  folder of the database (default: NIGHTDRAW_DATA, or recordings/)';

/** Opens the store for `work` and closes it whatever happens. @throws NightdrawError */
export function withStore<T>(context: CommandContext, args: ParsedArgs, work: (store: Store) => T): T {
  const store = openStore(databaseFile(dataFolder(context, args)));
  try {
    return work(store);
  } finally {
    store.close();
  }
}

export function isFile(file: string): boolean {
  return existsSync(file) && statSync(file).isFile();
}

/** The one thing that a command works on. */
export function onlyPositional({ positionals }: ParsedArgs, what: string): string {
  const [first] = positionals;
  if (first === undefined) throw new UsageError(`Name ${what}.`);
  if (positionals.length > 1)
    throw new UsageError(`Name one thing at a time; "${positionals[1]}" is one too many.`);
  return first;
}
