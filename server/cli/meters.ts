import { createAbort } from '../../drivers/core/abort.ts';
import { LinkError } from '../../drivers/core/errors.ts';
import type { SeenMeter } from '../../drivers/core/link.ts';
import { createNodeLink } from '../../drivers/links/node/link.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { displayName } from '../capture/displayName.ts';
import { UsageError, type Command, type ParsedArgs } from './command.ts';
import { DATA_OPTION } from './data.ts';
import { runTaught } from './taught.ts';
import { runTeach } from './teach.ts';

const DEFAULT_SECONDS = 10;

export const metersCommand: Command = {
  name: 'meters',
  summary: 'lists the Bluetooth meters in range of this computer',
  usage: [
    'Usage: nightdraw meters [--seconds N] [--json]',
    '       nightdraw meters teach FRAMES.jsonl [--save --service UUID --characteristic UUID] [--name START] [--title TEXT]',
    '       nightdraw meters taught [import FILE | export ID | delete ID] [--data DIR]',
    '',
    `  --seconds N  how long to look (default ${DEFAULT_SECONDS})`,
    '  --json       print one JSON array: id, name, signal (dBm), advertised services, whether a driver names one',
    '',
    'teach learns how an unknown meter encodes its display from lines {"frame":"hex","display":"12.63 V"}, five or more,',
    'and prints the meter description (JSON) once only one encoding is left; sentences go to stderr. --save keeps it in',
    'the data folder, for meters with that characteristic (and, with --name, a name that starts so); serve and record',
    'then read them. taught lists what is kept.',
  ].join('\n'),
  options: {
    seconds: { type: 'string' },
    json: { type: 'boolean' },
    save: { type: 'boolean' },
    service: { type: 'string' },
    characteristic: { type: 'string' },
    name: { type: 'string' },
    title: { type: 'string' },
    ...DATA_OPTION,
  },

  async run(context, args) {
    const [first, ...rest] = args.positionals;
    if (first === 'teach') return runTeach(context, args, rest);
    if (first === 'taught') return runTaught(context, args, rest);
    if (args.positionals.length > 0) throw new UsageError(`"${args.positionals[0]}" is not understood here.`);
    const seconds = secondsOf(args);
    const link = createNodeLink();
    const stop = createAbort();
    let timer: NodeJS.Timeout | undefined;
    context.signal.addEventListener('abort', () => stop.abort(), { once: true });
    if (context.isTerminal) context.stderr(`Looking for ${seconds} s ...\n`);
    const seen = new Map<string, SeenMeter>();
    try {
      await link.ready(); // the time to look begins when the radio can hear
      timer = setTimeout(() => stop.abort(), seconds * 1000);
      await link.find({
        services: [],
        signal: stop.signal,
        onSeen: (meter) =>
          seen.set(meter.id, { ...meter, name: meter.name ?? seen.get(meter.id)?.name ?? null }),
      });
    } catch (error) {
      if (!(error instanceof LinkError)) throw error;
      context.stderr(`${error.message}\n`);
      return 1;
    } finally {
      clearTimeout(timer);
      await link.close();
    }
    const meters = [...seen.values()].map((m) => ({ ...m, known: isKnown(m) })).sort(byKnownThenStrength);
    context.stdout(args.values.json === true ? `${JSON.stringify(meters)}\n` : tableOf(meters));
    return 0;
  },
};

type ListedMeter = SeenMeter & { readonly known: boolean };

function isKnown({ services }: SeenMeter): boolean {
  return DRIVERS.some((d) => d.services.some((s) => s.advertised && services.includes(s.uuid)));
}

function byKnownThenStrength(a: ListedMeter, b: ListedMeter): number {
  return Number(b.known) - Number(a.known) || (b.rssi ?? -200) - (a.rssi ?? -200);
}

function tableOf(meters: readonly ListedMeter[]): string {
  if (meters.length === 0) return 'No Bluetooth device is in range. Is the meter switched on?\n';
  const widest = Math.max(...meters.map((m) => m.id.length));
  return meters
    .map(({ id, name, rssi, known }) =>
      [
        id.padEnd(widest),
        `${rssi ?? '?'} dBm`.padStart(8),
        known ? 'meter' : '     ',
        displayName(name ?? ''),
      ].join('  '),
    )
    .map((line) => `${line.trimEnd()}\n`)
    .join('');
}

function secondsOf({ values }: ParsedArgs): number {
  if (values.seconds === undefined) return DEFAULT_SECONDS;
  const seconds = Number(values.seconds);
  if (!(seconds >= 0.1 && seconds <= 3600))
    throw new UsageError('--seconds needs a number from 0.1 to 3600.');
  return seconds;
}
