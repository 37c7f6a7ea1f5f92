import path from 'node:path';
import { parseAccuracy } from '../analysis/accuracy.ts';
import { narrowedBy } from '../battery/together.ts';
import { analysisOptionsOf, findStoredNight, withFile } from '../capture/nightInput.ts';
import {
  analysisOptionsSchema,
  findingsSchema,
  type AnalysisOptions,
  type Findings,
} from '../messages/findings.ts';
import { idSchema } from '../messages/records.ts';
import { describeFindings, verdictOf } from '../messages/sentences.ts';
import { UsageError, type Command, type CommandContext, type ParsedArgs } from './command.ts';
import { DATA_OPTION, DATA_USAGE, isFile, onlyPositional, withStore } from './data.ts';

/** Options of the analysis: their name on the command line, and what each needs. */
const ASKED = {
  'capacity-ah': { key: 'capacityAh', needs: 'a number of ampere-hours above 0 and up to 1000' },
  chemistry: { key: 'chemistry', needs: 'flooded, efb, agm or gel' },
  'temperature-c': { key: 'temperatureC', needs: 'degrees Celsius from -60 to 100' },
  'meter-accuracy': { key: 'meterAccuracy', needs: 'what the data sheet says, for example "0.5%+3"' },
  'aperture-ms': { key: 'apertureMs', needs: 'milliseconds above 0 and up to 60000' },
  'threshold-v': { key: 'thresholdV', needs: 'volts above 0 and up to 60' },
  'draw-limit-a': { key: 'drawLimitA', needs: 'amperes above 0 and up to 100' },
} as const;
type AskedName = keyof typeof ASKED;
const ASKED_NAMES = Object.keys(ASKED) as AskedName[];

export const analyseCommand: Command = {
  name: 'analyse',
  summary: 'says what a night shows: sleep, polling, wake-ups, draw and battery',
  usage: [
    'Usage: nightdraw analyse FILE|RECORDING [options]',
    '',
    'FILE is a CSV (see nightdraw import --help); RECORDING is the id of a stored one, whose case then gives',
    'battery and limits where no option does.',
    '',
    '  --json                   print the findings document (schema nightdraw.findings/1)',
    '  --with FILE|RECORDING    a second recording of the same car at another sampling rate: leaves of the',
    '                           periods that this one cannot tell apart those that fit both',
    '  --capacity-ah N          battery capacity',
    '  --chemistry NAME         flooded, efb, agm or gel',
    '  --temperature-c N        battery temperature',
    '  --meter-accuracy TEXT    as the data sheet prints it, for example "0.5%+3"',
    '  --aperture-ms N          averaging time of one reading',
    '  --threshold-v N          voltage below which passive entry becomes unreliable',
    '  --draw-limit-a N         key-off draw that is still accepted',
    DATA_USAGE.replace('  --data DIR  ', '  --data DIR               '),
  ].join('\n'),
  options: {
    json: { type: 'boolean' },
    with: { type: 'string' },
    ...Object.fromEntries(ASKED_NAMES.map((name) => [name, { type: 'string' as const }])),
    ...DATA_OPTION,
  },

  async run(context, args) {
    const what = onlyPositional(args, 'the file or the recording to analyse');
    const asked = askedOptions(args);
    const own = findingsOf(what, asked, context, args);
    const other = args.values['with'];
    const both = typeof other === 'string' ? narrowedBy(own, findingsOf(other, asked, context, args)) : own;
    const findings = findingsSchema.parse(both);
    context.stdout(args.values.json === true ? `${JSON.stringify(findings)}\n` : textOf(findings));
    return 0;
  },
};

function findingsOf(
  what: string,
  asked: AnalysisOptions,
  context: CommandContext,
  args: ParsedArgs,
): Findings {
  const file = path.resolve(context.cwd, what);
  if (isFile(file))
    return withFile(file, path.basename(file), (store, id) => findStoredNight(store, id, asked));
  if (!idSchema.safeParse(what).success) throw new UsageError(`There is no file ${what}.`);
  return withStore(context, args, (store) => {
    const { caseId } = store.getRecording(what);
    const theCase = caseId === null ? null : store.getCase(caseId);
    return findStoredNight(store, what, analysisOptionsOf(theCase, asked));
  });
}

function askedOptions({ values }: ParsedArgs): AnalysisOptions {
  const given = ASKED_NAMES.filter((name) => typeof values[name] === 'string');
  const raw = Object.fromEntries(given.map((name) => [ASKED[name].key, valueOf(name, String(values[name]))]));
  const parsed = analysisOptionsSchema.safeParse(raw);
  if (parsed.success) return parsed.data;
  const wrong = ASKED_NAMES.find((name) => ASKED[name].key === parsed.error.issues[0]?.path[0]);
  throw needs(wrong ?? given[0]!);
}

function valueOf(name: AskedName, text: string): number | string {
  if (name === 'chemistry') return text.toLowerCase();
  if (name === 'meter-accuracy') {
    if (parseAccuracy(text) === null) throw needs(name);
    return text;
  }
  return text.trim() === '' ? NaN : Number(text.replace(',', '.'));
}

function needs(name: AskedName): UsageError {
  return new UsageError(`--${name} needs ${ASKED[name].needs}.`);
}

const TOPICS = {
  recording: 'Recording',
  sleep: 'Sleep',
  polling: 'Polling',
  'wake-ups': 'Wake-ups',
  draw: 'Draw',
  battery: 'Battery',
} as const;

function textOf(findings: Findings): string {
  const verdict = verdictOf(findings);
  const lines = [verdict.headline, ...verdict.because.map((reason) => `  ${reason}`)];
  if (verdict.next !== null) lines.push(`Next: ${verdict.next}`);
  let topic: string | null = null;
  for (const sentence of describeFindings(findings)) {
    if (sentence.topic !== topic) lines.push('', TOPICS[sentence.topic]);
    topic = sentence.topic;
    lines.push(`  ${sentence.text}`);
  }
  const others = findings.flags.filter((flag) => flag.summary !== verdict.headline);
  if (others.length > 0) lines.push('', 'Also', ...others.map((flag) => `  ${flag.summary}`));
  return `${lines.join('\n')}\n`;
}
