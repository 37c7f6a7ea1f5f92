import path from 'node:path';
import { readBytes } from '../capture/import.ts';
import { fingerprintText } from '../evidence/signing.ts';
import { verifyBundle, type Verification } from '../evidence/verify.ts';
import { differenceText } from '../evidence/words.ts';
import { idSchema } from '../messages/records.ts';
import { verdictOf } from '../messages/sentences.ts';
import { nodeChecker } from '../sealing/checker.ts';
import { logFile, readLog } from '../sealing/headLog.ts';
import { knownKeys } from '../sealing/keyFile.ts';
import { nightBlocks } from '../sealing/nightBlocks.ts';
import { faultsOfLog } from '../sealing/sealNight.ts';
import { UsageError, type Command, type CommandContext, type ParsedArgs } from './command.ts';
import { DATA_OPTION, DATA_USAGE, isFile, onlyPositional, withStore } from './data.ts';
import { dataFolder } from './project.ts';

export const verifyCommand: Command = {
  name: 'verify',
  summary: 'says whether a sealed bundle, or a stored recording, is still what was sealed',
  usage: [
    'Usage: nightdraw verify FILE.zip|RECORDING [--key FINGERPRINT] [--json] [--data DIR]',
    '',
    'Exit 0: intact. 1: not intact, with what differs. 2: it cannot be looked into at all.',
    'A RECORDING is compared with the log that was signed while it was recorded.',
    '',
    '  --key FINGERPRINT  insist on this signer, as the signer told you some other way',
    '  --json             print what was found as one JSON document',
    DATA_USAGE.replace('  --data DIR  ', '  --data DIR         '),
  ].join('\n'),
  options: { key: { type: 'string' }, json: { type: 'boolean' }, ...DATA_OPTION },

  async run(context, args) {
    const what = onlyPositional(args, 'the bundle or the recording to verify');
    const file = path.resolve(context.cwd, what);
    if (isFile(file)) return verifyFile(file, context, args);
    if (!idSchema.safeParse(what).success) throw new UsageError(`There is no file ${what}.`);
    return verifyRecording(what, context, args);
  },
};

function verifyFile(file: string, context: CommandContext, args: ParsedArgs): number {
  const { key, json } = args.values;
  const found = verifyBundle(readBytes(file), nodeChecker, {
    key: typeof key === 'string' ? key : undefined,
  });
  const known = knownKeys(dataFolder(context, args)).map((k) => k.fingerprint);
  const { contents: _contents, ...shown } = found;
  if (json === true) context.stdout(`${JSON.stringify(shown)}\n`);
  else if (found.status === 'unreadable') throw new UsageError(found.sentence);
  else context.stdout(`${linesOf(found, known).join('\n')}\n`);
  return { intact: 0, changed: 1, unreadable: 2 }[found.status];
}

function linesOf(found: Verification, known: readonly string[]): string[] {
  const lines = [found.sentence, ...found.differences.map(differenceText), ...found.faults];
  if (found.signedBy !== null) {
    const whose = known.includes(found.signedBy)
      ? known.at(-1) === found.signedBy
        ? "this computer's key"
        : 'a former key of this computer'
      : 'a key that this computer does not know; compare it with what the signer told you';
    lines.push(`Signed by ${fingerprintText(found.signedBy)} (${whose}).`);
  }
  if (found.stampedAt !== null)
    lines.push(
      `Time stamp of ${found.stampedAt}; openssl ts -verify tells whether its authority can be trusted.`,
    );
  if (found.container === 'anew')
    lines.push('The zip file was packed anew by another program; what is in it was compared.');
  if (found.findings !== null && !found.findings.same)
    lines.push(
      'The analysis has changed since; both answers:',
      `  sealed: ${verdictOf(found.findings.sealed).headline}`,
      `  now:    ${verdictOf(found.findings.now).headline}`,
    );
  return lines;
}

function verifyRecording(id: string, context: CommandContext, args: ParsedArgs): number {
  const data = dataFolder(context, args);
  const { faults, sealed } = withStore(context, args, (store) => {
    const log = readLog(logFile(data, id));
    const night = nightBlocks(store, id, log);
    return { faults: [...night.faults, ...faultsOfLog(data, id)], sealed: log.heads.length };
  });
  if (sealed === 0) throw new UsageError('Nothing of this recording was sealed while it was recorded.');
  const status = faults.length === 0 ? 'intact' : 'changed';
  const sentence =
    status === 'intact'
      ? `Intact: the recording is what was sealed in ${sealed} ${sealed === 1 ? 'step' : 'steps'}.`
      : 'Not intact: the recording is not what was sealed.';
  if (args.values.json === true) context.stdout(`${JSON.stringify({ status, sentence, faults })}\n`);
  else context.stdout(`${[sentence, ...faults].join('\n')}\n`);
  return status === 'intact' ? 0 : 1;
}
