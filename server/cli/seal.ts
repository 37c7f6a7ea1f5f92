import path from 'node:path';
import { PARTS, type Part } from '../evidence/statement.ts';
import { fingerprintOf, fingerprintText } from '../evidence/signing.ts';
import { nodeChecker } from '../sealing/checker.ts';
import { replaceKey, signerIn } from '../sealing/keyFile.ts';
import { sealWithReport } from '../sealing/reportNight.ts';
import { openStore } from '../store/openStore.ts';
import { UsageError, type Command } from './command.ts';
import { DATA_OPTION, DATA_USAGE, onlyPositional } from './data.ts';
import { databaseFile, dataFolder, VERSION } from './project.ts';
import { writePieces } from './writeFile.ts';

export const sealCommand: Command = {
  name: 'seal',
  summary: 'writes a recording as a sealed bundle that anyone can check',
  usage: [
    'Usage: nightdraw seal RECORDING -o FILE.zip [--without identity,photos] [--data DIR]',
    '       nightdraw seal --new-key [--data DIR]',
    '',
    'Prints the fingerprint of the key that signs. Give it to whoever is to check the bundle, some other way than',
    'with the bundle.',
    '',
    '  -o FILE.zip      the bundle to write',
    '  --without LIST   leave out identity (plate, VIN, case, notes), photos, or both',
    '  --new-key        replace the signing key; bundles of the old one still verify',
    DATA_USAGE.replace('  --data DIR  ', '  --data DIR       '),
  ].join('\n'),
  options: {
    output: { type: 'string', short: 'o' },
    without: { type: 'string' },
    'new-key': { type: 'boolean' },
    ...DATA_OPTION,
  },

  async run(context, args) {
    const data = dataFolder(context, args);
    const { output, without } = args.values;
    if (args.values['new-key'] === true) {
      context.stdout(`${fingerprint(replaceKey(data).publicKey)}\n`);
      return 0;
    }
    const id = onlyPositional(args, 'the recording to seal by its id');
    if (typeof output !== 'string') throw new UsageError('Say where to write the bundle: -o FILE.zip.');
    const left = partsOf(typeof without === 'string' ? without : '');
    const store = openStore(databaseFile(data));
    try {
      store.getRecording(id);
      const options = {
        data,
        signer: signerIn(data),
        version: VERSION,
        sealedAt: new Date().toISOString(),
        without: left,
      };
      await writePieces(path.resolve(context.cwd, output), (write) =>
        sealWithReport(store, id, options, write),
      );
    } finally {
      store.close();
    }
    context.stdout(`${fingerprint(signerIn(data).publicKey)}\n`);
    return 0;
  },
};

function fingerprint(publicKey: Uint8Array): string {
  return fingerprintText(fingerprintOf(publicKey, nodeChecker.sha256));
}

function partsOf(text: string): Part[] {
  const names = text.split(',').filter((name) => name !== '');
  const unknown = names.find((name) => !(PARTS as readonly string[]).includes(name));
  if (unknown !== undefined)
    throw new UsageError(`--without knows ${PARTS.join(' and ')}, not "${unknown}".`);
  return [...new Set(names)] as Part[];
}
