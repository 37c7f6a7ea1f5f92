import path from 'node:path';
import { compareFindings, type Side } from '../battery/compare.ts';
import { analysisOptionsOf, findStoredNight, withFile } from '../capture/nightInput.ts';
import { comparisonSchema } from '../messages/compare.ts';
import { idSchema } from '../messages/records.ts';
import { UsageError, type Command, type CommandContext, type ParsedArgs } from './command.ts';
import { DATA_OPTION, DATA_USAGE, isFile, withStore } from './data.ts';

export const compareCommand: Command = {
  name: 'compare',
  summary: 'before and after: what changed between two nights, with its uncertainty',
  usage: [
    'Usage: nightdraw compare BEFORE AFTER [--json]',
    '',
    'Each is a CSV file or the id of a stored recording, whose case then gives battery and limits. Changes are after',
    'minus before.',
    '',
    '  --json      print the comparison (schema nightdraw.comparison/1)',
    DATA_USAGE,
  ].join('\n'),
  options: { json: { type: 'boolean' }, ...DATA_OPTION },

  run(context, args) {
    const [before, after, more] = args.positionals;
    if (before === undefined || after === undefined)
      throw new UsageError('Name two recordings or files: the one before, then the one after.');
    if (more !== undefined) throw new UsageError(`Two are compared; "${more}" is one too many.`);
    const comparison = comparisonSchema.parse(
      compareFindings(sideOf(before, context, args), sideOf(after, context, args)),
    );
    if (args.values.json === true) context.stdout(`${JSON.stringify(comparison)}\n`);
    else {
      const lines = [
        `Before: ${comparison.before.title}`,
        `After:  ${comparison.after.title}`,
        '',
        ...comparison.says,
        '',
        'Figures',
        ...comparison.figures.filter((f) => f.verdict !== 'missing').map((f) => `  ${f.sentence}`),
      ];
      context.stdout(`${lines.join('\n')}\n`);
    }
    return Promise.resolve(0);
  },
};

function sideOf(what: string, context: CommandContext, args: ParsedArgs): Side {
  const file = path.resolve(context.cwd, what);
  if (isFile(file)) {
    const name = path.basename(file);
    return {
      title: name,
      findings: withFile(file, name, (store, id) => findStoredNight(store, id)),
    };
  }
  if (!idSchema.safeParse(what).success) throw new UsageError(`There is no file ${what}.`);
  return withStore(context, args, (store) => {
    const { title, caseId } = store.getRecording(what);
    const options = analysisOptionsOf(caseId === null ? null : store.getCase(caseId), {});
    return { title, findings: findStoredNight(store, what, options) };
  });
}
