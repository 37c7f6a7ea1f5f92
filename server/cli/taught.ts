import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { idSchema } from '../messages/records.ts';
import { meterDescriptionSchema, type TaughtMeter } from '../messages/taughtMeters.ts';
import { UsageError, type CommandContext, type ParsedArgs } from './command.ts';
import { withStore } from './data.ts';

/**
 * `meters taught`: the descriptions that are kept; `import FILE`, `export ID` and `delete ID` after it.
 * @throws UsageError, NightdrawError
 */
export async function runTaught(
  context: CommandContext,
  args: ParsedArgs,
  [action, what, ...others]: readonly string[],
): Promise<number> {
  if (others.length > 0) throw new UsageError(`"${others[0]}" is one too many.`);
  if (action === undefined) return list(context, args);
  if (what === undefined) throw new UsageError('Use: meters taught [import FILE | export ID | delete ID].');
  if (action === 'import') {
    const description = await descriptionIn(path.resolve(context.cwd, what), what);
    const { id } = withStore(context, args, (store) => store.addTaughtMeter(description));
    context.stdout(`${id}\n`);
    return 0;
  }
  if (!idSchema.safeParse(what).success) throw new UsageError(`"${what}" is no description's id.`);
  if (action === 'delete') {
    withStore(context, args, (store) => store.deleteTaughtMeter(what));
    return 0;
  }
  if (action !== 'export') throw new UsageError(`"${action}" is not understood here.`);
  const kept = withStore(context, args, (store) => store.listTaughtMeters()).find((t) => t.id === what);
  if (kept === undefined) throw new UsageError(`There is no description ${what}.`);
  context.stdout(`${JSON.stringify(kept.description, null, 2)}\n`);
  return 0;
}

function list(context: CommandContext, args: ParsedArgs): number {
  const kept = withStore(context, args, (store) => store.listTaughtMeters());
  if (args.values.json === true) context.stdout(`${JSON.stringify(kept)}\n`);
  else if (kept.length === 0) context.stdout('No meter has been taught.\n');
  else context.stdout(kept.map((t) => `${lineOf(t)}\n`).join(''));
  return 0;
}

function lineOf({ id, addedAt, description: { title, source, nameStartsWith } }: TaughtMeter): string {
  const where = source === null ? 'any unknown meter' : `characteristic ${source.characteristic}`;
  const name = nameStartsWith === null ? '' : `, named "${nameStartsWith}..."`;
  return `${id}  ${addedAt.slice(0, 10)}  ${title} (${where}${name})`;
}

async function descriptionIn(absolute: string, file: string) {
  let text: string;
  try {
    text = await readFile(absolute, 'utf8');
  } catch {
    throw new UsageError(`${file} cannot be read.`);
  }
  try {
    return meterDescriptionSchema.parse(JSON.parse(text));
  } catch {
    throw new UsageError(`${file} is no meter description (drivers/teach/FORMAT.md says what one is).`);
  }
}
