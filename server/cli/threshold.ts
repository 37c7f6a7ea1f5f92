import path from 'node:path';
import { estimateThreshold } from '../battery/threshold.ts';
import { readBytes } from '../capture/import.ts';
import { parseTries } from '../capture/triesCsv.ts';
import { thresholdSchema } from '../messages/attempts.ts';
import { estimateText } from '../messages/figures.ts';
import type { Command } from './command.ts';
import { onlyPositional } from './data.ts';

export const thresholdCommand: Command = {
  name: 'threshold',
  summary: "estimates this car's threshold from tries at the handle",
  usage: [
    'Usage: nightdraw threshold FILE.csv [--json]',
    '',
    'FILE.csv has a line a try, with the columns voltage_V (at the battery posts, just before the try) and worked',
    '(1: passive entry answered, 0: it did not). What the tries do not carry is not given.',
    '',
    '  --json   print the estimate as one JSON document',
  ].join('\n'),
  options: { json: { type: 'boolean' } },

  run(context, args) {
    const name = onlyPositional(args, 'the file with the tries');
    const file = path.resolve(context.cwd, name);
    const tries = parseTries(readBytes(file), path.basename(file));
    const threshold = thresholdSchema.parse(estimateThreshold(tries));
    if (args.values.json === true) context.stdout(`${JSON.stringify(threshold)}\n`);
    else {
      // A curve that falls with the voltage has a half-way point, but that is no threshold of a supply.
      const rises = threshold.slope === null || threshold.slope > 0;
      const figure = rises ? estimateText(threshold.thresholdV, 'voltage') : null;
      const head = figure === null ? 'No threshold can be given.' : `Threshold ${figure}.`;
      context.stdout(`${[head, ...threshold.says.map((line) => `  ${line}`)].join('\n')}\n`);
    }
    return Promise.resolve(0);
  },
};
