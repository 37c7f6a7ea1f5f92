import type { Clock } from '../../drivers/core/clock.ts';
import { processClock } from '../../drivers/links/node/clock.ts';
import { createNodeLink } from '../../drivers/links/node/link.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { fileClaims } from '../capture/claims.ts';
import { Hub } from '../capture/hub.ts';
import type { Radio, VirtualCar } from '../capture/radio.ts';
import { SimClock } from '../simulator/clock.ts';
import { SCENARIOS } from '../simulator/scenarios.ts';
import { signerIn } from '../sealing/keyFile.ts';
import { sealingStore } from '../sealing/sealingStore.ts';
import { openStore } from '../store/openStore.ts';
import { readBindKeys } from './bindKeys.ts';
import type { Command } from './command.ts';
import { DATA_OPTION } from './data.ts';
import { realPace, virtualPace, type Pace } from './pace.ts';
import { databaseFile, dataFolder } from './project.ts';
import { WRITE_EVERY_OPTION, WRITE_EVERY_USAGE } from './writeEvery.ts';
import { recordArgsOf, type RecordArgs } from './recordArgs.ts';
import { runRecording } from './recordRun.ts';
import { createVirtualCar } from './virtualCar.ts';

/** Faster than real time, so much virtual time shares one durable write at most. */
const LONGEST_COMMIT_MS = 60_000;

export const recordCommand: Command = {
  name: 'record',
  summary: 'records meters without a page and prints the id of the recording',
  usage: [
    'Usage: nightdraw record --meter ID... [--seconds N] [--case ID] [--data DIR] [--json]',
    '       nightdraw record --virtual [--scenario NAME] [--seed N] [--speed N] [--seconds N] ...',
    '',
    '  --meter ID       a meter in range of this computer ("nightdraw meters" lists them); may be repeated',
    '  --virtual        record the virtual car instead',
    `  --scenario NAME  ${Object.keys(SCENARIOS).join(', ')} (default healthy)`,
    '  --seed N         the same number gives the same night (default 1)',
    '  --speed N        so many times faster than time (default 1); 0 is as fast as this computer can',
    '  --seconds N      how long, in the time of the recording (default: until Ctrl-C; a whole night of the virtual car)',
    '  --zero N         a zero check of N seconds before and after: the clamp closed on nothing',
    '  --zero-pause N   seconds to move the clamp between a check and the recording (default 20)',
    '  --query TEXT     for meters that answer on request: sent again and again, a line at a time',
    '  --query-ms N     so often (default 500)',
    '  --unitless NAME  what a bare number in a line of text means: voltage, current or temperature',
    WRITE_EVERY_USAGE,
    '  --case ID        the case that the recording belongs to',
    '  --data DIR       folder of the database (default: NIGHTDRAW_DATA, or recordings/)',
    '  --json           print the whole recording, not only its id',
  ].join('\n'),
  options: {
    meter: { type: 'string', multiple: true },
    virtual: { type: 'boolean' },
    scenario: { type: 'string' },
    seed: { type: 'string' },
    speed: { type: 'string' },
    seconds: { type: 'string' },
    ...WRITE_EVERY_OPTION,
    zero: { type: 'string' },
    'zero-pause': { type: 'string' },
    query: { type: 'string' },
    'query-ms': { type: 'string' },
    unitless: { type: 'string' },
    case: { type: 'string' },
    ...DATA_OPTION,
    json: { type: 'boolean' },
  },

  async run(context, parsed) {
    const args = recordArgsOf(parsed);
    const data = dataFolder(context, parsed);
    const bindKeys = readBindKeys(data);
    const opened = openStore(databaseFile(data));
    const { close, ...equipment } = args.meterIds.length > 0 ? realMeters(args) : virtualMeters(args);
    const { clock, radio, car, commitEveryMs, random } = equipment;
    const store = sealingStore(opened, {
      data,
      signer: signerIn(data),
      utcMs: () => clock.utcMs(),
      onTrouble: (sentence) => context.stderr(`${sentence}\n`),
    });
    const hub = new Hub({
      store,
      clock,
      random,
      drivers: DRIVERS,
      radio,
      car,
      claims: fileClaims(data),
      bindKeys,
      asking: args.asking,
      recorder: { commitEveryMs },
    });
    try {
      if (args.caseId !== null) store.getCase(args.caseId);
      const recording = await runRecording({ context, hub, ...equipment, ...args });
      if (recording === null) return 1;
      context.stdout(parsed.values.json === true ? `${JSON.stringify(recording)}\n` : `${recording.id}\n`);
      if (recording.channels.some((c) => c.samples > 0)) return 0;
      context.stderr('No reading arrived.\n');
      return 1;
    } finally {
      const lost = await hub.close();
      if (lost > 0) context.stderr(`${lost} readings could not be stored.\n`);
      await close();
      store.close();
    }
  },
};

/** What differs between a recording of real meters and one of the virtual car. */
interface Equipment {
  readonly clock: Clock;
  readonly pace: Pace;
  readonly random: () => number;
  readonly radio: Radio;
  readonly car: VirtualCar;
  readonly keys: readonly string[];
  readonly title: string;
  readonly commitEveryMs: number;
  close(): Promise<void>;
}

function realMeters({ meterIds, writeEveryMs }: RecordArgs): Equipment {
  const link = createNodeLink();
  const clock = processClock;
  return {
    clock,
    pace: realPace(clock),
    random: Math.random,
    radio: { link, status: () => link.status() },
    car: createVirtualCar({ scenario: SCENARIOS.live, seed: () => 1, clock }),
    keys: meterIds.map((id) => `server:${id}`),
    title: 'Recorded from the command line',
    commitEveryMs: writeEveryMs,
    close: () => link.close(),
  };
}

function virtualMeters({ scenario, seed, speed, writeEveryMs }: RecordArgs): Equipment {
  const clock = new SimClock(processClock.utcMs());
  const car = createVirtualCar({ scenario: SCENARIOS[scenario], seed: () => seed, clock });
  return {
    clock,
    pace: virtualPace(clock, processClock, speed),
    random: () => 0.5,
    radio: car.radio,
    car,
    keys: car.meterIds.map((id) => `virtual:${id}`),
    title: `Virtual car: ${scenario}`,
    commitEveryMs:
      speed === 0 ? LONGEST_COMMIT_MS : Math.min(writeEveryMs * Math.max(1, speed), LONGEST_COMMIT_MS),
    close: () => Promise.resolve(),
  };
}
