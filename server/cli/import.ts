import path from 'node:path';
import { importCsvFile } from '../capture/import.ts';
import { UsageError, type Command } from './command.ts';
import { DATA_OPTION, DATA_USAGE, withStore } from './data.ts';

export const importCommand: Command = {
  name: 'import',
  summary: "reads CSV files into the store and prints each recording's id",
  usage: [
    'Usage: nightdraw import FILE... [--case ID] [--json] [--data DIR]',
    '',
    'A header row names quantity and unit: time_s, "Time (s)", timestamp (ISO 8601); current_A, "Current [mA]",',
    'voltage_V. Comma, semicolon or tab; decimal point or comma; gzip or plain. A blank field is no reading.',
    'If one file cannot be read, none is imported.',
    '',
    '  --case ID   case to which the recordings belong',
    '  --json      print {"recordings":[{"file","id"}]}',
    DATA_USAGE,
  ].join('\n'),
  options: { case: { type: 'string' }, json: { type: 'boolean' }, ...DATA_OPTION },

  async run(context, args) {
    const { values, positionals } = args;
    if (positionals.length === 0) throw new UsageError('Name the file to import.');
    const caseId = typeof values.case === 'string' ? values.case : null;
    const recordings = withStore(context, args, (store) =>
      store.atomically(() =>
        positionals.map((file) => {
          if (context.isTerminal) context.stderr(`Reading ${file} ...\n`);
          const { id } = importCsvFile(store, path.resolve(context.cwd, file), { caseId });
          return { file, id };
        }),
      ),
    );
    if (values.json === true) context.stdout(`${JSON.stringify({ recordings })}\n`);
    else for (const { id } of recordings) context.stdout(`${id}\n`);
    return 0;
  },
};
