import { fuseCurrent, fuseRatings, type FuseKind } from '../battery/fuse.ts';
import { estimateText } from '../messages/figures.ts';
import { FUSE_KINDS } from '../messages/fuses.ts';
import { UsageError, type Command, type ParsedArgs } from './command.ts';

/** Options that a person may leave out have no place here: a wrong fuse is a wrong current. */
const USAGE = [
  'Usage: nightdraw fuse --rating A --kind KIND --mv N [--json]',
  '',
  'The current through a blade fuse from the millivolts across it, with the car asleep.',
  '',
  ...FUSE_KINDS.map((kind) => `  --kind ${kind}: --rating ${fuseRatings(kind).join(', ')}`),
  '  --mv N   as the meter shows it, with all its digits: 0.30 is a finer reading than 0.3',
  '  --json   print {"currentA", "source"}',
].join('\n');

export const fuseCommand: Command = {
  name: 'fuse',
  summary: 'turns millivolts across a fuse into milliamperes',
  usage: USAGE,
  options: {
    rating: { type: 'string' },
    kind: { type: 'string' },
    mv: { type: 'string' },
    json: { type: 'boolean' },
  },

  run(context, args) {
    if (args.positionals.length > 0) throw new UsageError(`"${args.positionals[0]}" is not understood here.`);
    const kind = kindOf(args);
    const rating = Number(given(args, 'rating', 'the amperes printed on the fuse').replace(',', '.'));
    const text = given(args, 'mv', 'the millivolts across the fuse').replace(',', '.');
    const match = /^[+-]?\d{1,6}(?:\.(\d{1,6}))?$/.exec(text);
    if (match === null) throw new UsageError('--mv needs a number of millivolts, for example 0.3.');
    const digit = 10 ** -(match[1]?.length ?? 0);
    const answer = fuseCurrent(kind, rating, Number(text), digit);
    if (answer === null)
      throw new UsageError(
        `There is no figure for a ${kind} fuse of that rating; --rating takes ${fuseRatings(kind).join(', ')}.`,
      );
    context.stdout(
      args.values.json === true
        ? `${JSON.stringify(answer)}\n`
        : `${estimateText(answer.currentA, 'current')}\n  ${answer.source}\n`,
    );
    return Promise.resolve(0);
  },
};

function given({ values }: ParsedArgs, name: string, what: string): string {
  const value = values[name];
  if (typeof value !== 'string' || value.trim() === '') throw new UsageError(`Give --${name}: ${what}.`);
  return value.trim();
}

function kindOf(args: ParsedArgs): FuseKind {
  const kind = given(args, 'kind', FUSE_KINDS.join(' or ')).toLowerCase();
  const found = FUSE_KINDS.find((k) => k === kind);
  if (found === undefined)
    throw new UsageError(`--kind needs ${FUSE_KINDS.join(' or ')}; nothing is known of other kinds.`);
  return found;
}
