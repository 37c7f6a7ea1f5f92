import path from 'node:path';
import { readBytes } from '../capture/import.ts';
import { queryFor, withTimestamp } from '../sealing/timestamp.ts';
import { UsageError, type Command } from './command.ts';
import { onlyPositional } from './data.ts';
import { writeOctets } from './writeFile.ts';

export const timestampCommand: Command = {
  name: 'timestamp',
  summary: 'asks a time-stamping authority for a time stamp of a sealed bundle, and puts it in',
  usage: [
    'Usage: nightdraw timestamp FILE.zip -o QUERY.tsq',
    '       nightdraw timestamp FILE.zip --reply REPLY.tsr -o STAMPED.zip',
    '',
    'Nothing is sent: take the query to any authority (RFC 3161) yourself, and bring its reply back. Only a digest is in',
    'the query. To check the authority: openssl ts -verify -data statement.sig -in timestamp.tsr -CAfile CA.pem',
    '',
    '  --reply FILE  the reply to put in; it is checked first',
    '  -o FILE       file to write',
  ].join('\n'),
  options: { reply: { type: 'string' }, output: { type: 'string', short: 'o' } },

  async run(context, args) {
    const what = onlyPositional(args, 'the bundle');
    const { reply, output } = args.values;
    if (typeof output !== 'string') throw new UsageError('Say where to write: -o FILE.');
    const bundle = readBytes(path.resolve(context.cwd, what));
    const file = path.resolve(context.cwd, output);
    if (typeof reply !== 'string') {
      await writeOctets(file, queryFor(bundle));
      return 0;
    }
    const stamped = withTimestamp(bundle, readBytes(path.resolve(context.cwd, reply)));
    await writeOctets(file, stamped.bundle);
    context.stdout(`${stamped.timestamp.at}\n`);
    return 0;
  },
};
