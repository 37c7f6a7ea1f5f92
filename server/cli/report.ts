import path from 'node:path';
import type { Reader } from '../report/input.ts';
import { PAPERS, type Paper } from '../report/pdfSheet.ts';
import { signerIn } from '../sealing/keyFile.ts';
import { REPORT_FORMATS } from '../sealing/reportFormats.ts';
import { renderReport, reportOfNight } from '../sealing/reportNight.ts';
import { UsageError, type Command } from './command.ts';
import { DATA_OPTION, DATA_USAGE, onlyPositional, withStore } from './data.ts';
import { dataFolder, VERSION } from './project.ts';
import { writeOctets } from './writeFile.ts';

const READERS: readonly Reader[] = ['workshop', 'customer'];

export const reportCommand: Command = {
  name: 'report',
  summary: 'writes what a night showed as a report to print or to send',
  usage: [
    'Usage: nightdraw report RECORDING [--format html|pdf|csv] [--paper a4|letter] [--for customer|workshop] -o FILE',
    '',
    '  --format NAME  html (one file that loads nothing), pdf, or csv (the figures only); default: as FILE ends, else pdf',
    '  --paper NAME   a4 (default) or letter',
    '  --for WHOM     workshop (default: everything) or customer (one page)',
    '  -o FILE        file to write',
    DATA_USAGE.replace('  --data DIR  ', '  --data DIR     '),
  ].join('\n'),
  options: {
    format: { type: 'string' },
    paper: { type: 'string', default: 'a4' },
    for: { type: 'string', default: 'workshop' },
    output: { type: 'string', short: 'o' },
    ...DATA_OPTION,
  },

  async run(context, args) {
    const id = onlyPositional(args, 'the recording by its id');
    const { output } = args.values;
    if (typeof output !== 'string') throw new UsageError('Say where to write the report: -o FILE.');
    const ending = path.extname(output).slice(1).toLowerCase();
    const guessed = REPORT_FORMATS.find((f) => f === ending) ?? 'pdf';
    const format = oneOf('format', REPORT_FORMATS, args.values.format ?? guessed);
    const paper = oneOf('paper', Object.keys(PAPERS) as Paper[], args.values.paper);
    const reader = oneOf('for', READERS, args.values.for);
    const data = dataFolder(context, args);
    const model = withStore(context, args, (store) => {
      store.getRecording(id);
      const madeAt = new Date().toISOString();
      return reportOfNight(store, id, { data, signer: signerIn(data), version: VERSION, madeAt, reader });
    });
    await writeOctets(path.resolve(context.cwd, output), await renderReport(model, format, paper));
    return 0;
  },
};

function oneOf<T extends string>(option: string, known: readonly T[], value: unknown): T {
  const found = known.find((name) => name === value);
  if (found === undefined)
    throw new UsageError(`--${option} knows ${known.join(', ')}, not "${String(value)}".`);
  return found;
}
