import path from 'node:path';
import { restore } from '../sealing/backup.ts';
import type { Command } from './command.ts';
import { DATA_OPTION, onlyPositional } from './data.ts';
import { databaseFile, dataFolder } from './project.ts';

export const restoreCommand: Command = {
  name: 'restore',
  summary: 'brings a backup back into a data folder',
  usage: [
    'Usage: nightdraw restore FILE.tar [--data DIR]',
    '',
    'Nothing is ever overwritten: a folder that holds a database already is refused. So is a backup that is damaged.',
    '',
    '  --data DIR  folder to restore into, made where it is missing (default: NIGHTDRAW_DATA, or recordings/)',
  ].join('\n'),
  options: { ...DATA_OPTION },

  async run(context, args) {
    const file = path.resolve(context.cwd, onlyPositional(args, 'the backup to restore'));
    const data = dataFolder(context, args);
    await restore(file, data, path.basename(databaseFile(data)));
    context.stdout(`${data}\n`);
    return 0;
  },
};
