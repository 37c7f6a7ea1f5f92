import path from 'node:path';
import { fileSource, firstBytes } from '../capture/byteSource.ts';
import { importCsvFile, readBytes } from '../capture/import.ts';
import { importBundle, isZip } from '../sealing/importBundle.ts';
import { signerIn } from '../sealing/keyFile.ts';
import { UsageError, type Command } from './command.ts';
import { DATA_OPTION, DATA_USAGE, withStore } from './data.ts';
import { dataFolder } from './project.ts';

export const importCommand: Command = {
  name: 'import',
  summary: "reads CSV files or sealed bundles into the store and prints each recording's id",
  usage: [
    'Usage: nightdraw import FILE... [--case ID] [--json] [--data DIR]',
    '',
    'A header row names quantity and unit: time_s, "Time (s)", timestamp (ISO 8601); current_A, "Current [mA]",',
    'voltage_V. Comma, semicolon or tab; decimal point or comma; gzip or plain. A blank field is no reading.',
    'A sealed bundle (zip) comes back as the recording that it was, with its seals.',
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
    const data = dataFolder(context, args);
    const caseId = typeof values.case === 'string' ? values.case : null;
    const recordings = withStore(context, args, (store) =>
      store.atomically(() =>
        positionals.map((file) => {
          if (context.isTerminal) context.stderr(`Reading ${file} ...\n`);
          const source = path.resolve(context.cwd, file);
          const name = path.basename(file);
          const { id } = isZip(firstBytes(fileSource(source), 3))
            ? importBundle(store, readBytes(source), {
                name,
                data,
                caseId,
                signer: () => signerIn(data),
                at: new Date().toISOString(),
              })
            : importCsvFile(store, source, { name, caseId });
          return { file, id };
        }),
      ),
    );
    if (values.json === true) context.stdout(`${JSON.stringify({ recordings })}\n`);
    else for (const { id } of recordings) context.stdout(`${id}\n`);
    return 0;
  },
};
