import { readdirSync } from 'node:fs';
import path from 'node:path';
import { backUp } from '../sealing/backup.ts';
import { UsageError, type Command } from './command.ts';
import { DATA_OPTION, DATA_USAGE } from './data.ts';
import { databaseFile, dataFolder, DEMO_FOLDER } from './project.ts';

export const backupCommand: Command = {
  name: 'backup',
  summary: 'writes the whole data folder to one file, while it is in use',
  usage: [
    'Usage: nightdraw backup -o FILE.tar [--data DIR]',
    '',
    'In the file: database, signing key, logs of seals. Whoever has it can sign in your name: keep it where only you',
    'can read it, and not on the same disk.',
    '',
    '  -o FILE.tar  the backup to write',
    DATA_USAGE.replace('  --data DIR  ', '  --data DIR   '),
  ].join('\n'),
  options: { output: { type: 'string', short: 'o' }, ...DATA_OPTION },

  async run(context, args) {
    const [extra] = args.positionals;
    const target = args.values.output ?? extra;
    if (typeof target !== 'string' || args.positionals.length > (args.values.output === undefined ? 1 : 0))
      throw new UsageError('Say where to write the backup: -o FILE.tar.');
    const data = dataFolder(context, args);
    const source = {
      data,
      database: path.basename(databaseFile(data)),
      leaveOut: data === DEMO_FOLDER ? demoNights() : [],
    };
    const file = path.resolve(context.cwd, target);
    if (path.relative(data, path.dirname(file)) === '')
      throw new UsageError('Write the backup somewhere else than into the data folder itself.');
    await backUp(source, file, new Date().toISOString());
    context.stdout(`${file}\n`);
    return 0;
  },
};

/** The folders that came with the program; they are there wherever it is installed. */
function demoNights(): string[] {
  return readdirSync(DEMO_FOLDER, { withFileTypes: true })
    .filter((entry) => entry.isDirectory() && !['keys', 'seals'].includes(entry.name))
    .map((entry) => entry.name);
}
