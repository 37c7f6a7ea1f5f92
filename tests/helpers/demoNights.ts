import { textOf } from '../../drivers/core/reading.ts';
import type { SampleColumns } from '../../server/samples/columns.ts';
import type { CaseInput } from '../../server/messages/records.ts';
import { makeNight, type Night } from '../../server/simulator/night.ts';
import type { Scenario } from '../../server/simulator/scenario.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';
import { expectedFindings, type FlagsOfStory } from './demoExpectations.ts';

/** A demo night in `recordings/`: which evening of the virtual car it is, and the story told around it. */
export interface DemoNight {
  readonly folder: string;
  readonly scenario: Scenario;
  readonly seed: number;
  readonly startedAt: string;
  readonly story: Pick<CaseInput, 'title' | 'complaint' | 'notes'>;
  readonly flags: FlagsOfStory;
}

export const REGENERATE =
  'WRITE_RECORDINGS=1 npx vitest run -c tests/vitest.config.ts tests/recordings/regenerate.test.ts';

export const DEMO_NIGHTS: readonly DemoNight[] = [
  {
    folder: 'healthy-night',
    scenario: SCENARIOS.healthy,
    seed: 20241105,
    startedAt: '2024-11-05T20:47:00.000Z',
    story: {
      title: 'Estate car, checked before a long stay',
      complaint: 'None. The owner will be away for three weeks and asks whether the car will open and start.',
      notes: 'Fob in the key cabinet, far from the car. Bonnet latch closed by hand.',
    },
    flags: {
      raised: [],
      absent: ['battery-unreliable-zone', 'draw-above-limit', 'keeps-waking', 'never-slept'],
    },
  },
  {
    folder: 'low-auxiliary-battery',
    scenario: SCENARIOS['low-auxiliary'],
    seed: 20241119,
    startedAt: '2024-11-19T18:22:30.000Z',
    story: {
      title: 'Hybrid hatchback, the handle works one day and not the next',
      complaint:
        'Touching the handle does nothing, mostly in the morning. The button on the fob always opens. Fob cell replaced, no change.',
      notes:
        'Auxiliary battery under the boot floor, seven years old. Handle tried three times near the end.',
    },
    flags: {
      raised: ['battery-unreliable-zone', 'draw-above-limit'],
      absent: ['never-slept', 'polling-stopped-normal'],
    },
  },
  {
    folder: 'keeps-waking',
    scenario: SCENARIOS['keeps-waking'],
    seed: 20241126,
    startedAt: '2024-11-26T21:05:00.000Z',
    story: {
      title: 'Family van, flat after ten days',
      complaint: 'Would not unlock from the handle after standing at the airport, then would not start.',
      notes: 'Aftermarket tracker fitted last spring.',
    },
    flags: {
      raised: ['keeps-waking', 'draw-above-limit'],
      absent: ['never-slept', 'battery-unreliable-zone'],
    },
  },
  {
    folder: 'polling-stretches-and-stops',
    scenario: SCENARIOS.stretching,
    seed: 20241203,
    startedAt: '2024-12-03T19:10:00.000Z',
    story: {
      title: 'Saloon in storage, handle dead until unlocked by button',
      complaint:
        'After some time in the garage the handle does not answer; after one press of the button it does again.',
      notes: 'Car set to its shortened storage pattern so that all stages fit into one evening.',
    },
    flags: {
      raised: ['polling-stopped-normal'],
      absent: ['battery-unreliable-zone', 'draw-above-limit', 'never-slept', 'keeps-waking'],
    },
  },
];

/** All files of a demo night by name, as text; `night.csv` is stored gzipped. */
export function demoFiles(demo: DemoNight): Readonly<Record<string, string>> {
  const night = makeNight(demo.scenario, demo.seed);
  return {
    'night.csv': nightCsv(night.clamp, night.voltmeter),
    'case.json': json({
      startedAt: demo.startedAt,
      ...demo.story,
      battery: {
        role: demo.scenario.battery.role,
        chemistry: demo.scenario.battery.chemistry,
        capacityAh: demo.scenario.battery.capacityAh,
      },
    }),
    'expected.json': json(expectedFindings(night.truth, demo.flags)),
    'PROVENANCE.md': provenance(demo, night),
  };
}

function json(value: unknown): string {
  return `${JSON.stringify(value, null, 2)}\n`;
}

/** Both meters' readings on one time axis, each where it arrived; blank where the other meter did not read. */
export function nightCsv(clamp: SampleColumns, voltmeter: SampleColumns): string {
  const rows = ['time_s,current_A,voltage_V'];
  const digits = (c: SampleColumns, i: number) => textOf(c.counts[i]!, c.scale[i]!);
  for (let i = 0, j = 0; i < clamp.length || j < voltmeter.length;) {
    const clampAt = clamp.t[i] ?? Infinity;
    const voltAt = voltmeter.t[j] ?? Infinity;
    const at = Math.min(clampAt, voltAt);
    const current = clampAt === at ? digits(clamp, i++) : '';
    const voltage = voltAt === at ? digits(voltmeter, j++) : '';
    rows.push(`${(at / 1000).toFixed(3)},${current},${voltage}`);
  }
  return `${rows.join('\n')}\n`;
}

function provenance({ folder, scenario, seed, startedAt }: DemoNight, { clamp, voltmeter }: Night): string {
  const meter = (c: SampleColumns, m: Scenario['clamp'], unit: string) =>
    `${c.length} readings, one in ${m.intervalS} s, each the mean over ${m.apertureS} s, ` +
    `last digit ${10 ** m.scale} ${unit}, noise ${m.noise} ${unit} (standard deviation)`;
  return `# ${folder}

**Synthetic.** No car was measured: Nightdraw's virtual car made this recording. People, car and place in
\`case.json\` are invented.

${scenario.description}

| | |
|---|---|
| scenario | \`${scenario.name}\` (server/simulator/scenarios) |
| seed | ${seed} |
| length | ${scenario.nightS / 3600} h from ${startedAt} |
| clamp | ${meter(clamp, scenario.clamp, 'A')} |
| voltmeter | ${meter(voltmeter, scenario.voltmeter, 'V')} |
| battery | ${scenario.battery.chemistry}, ${scenario.battery.role}, ${scenario.battery.capacityAh} Ah |
| made by | \`${REGENERATE}\` |

- \`night.csv.gz\`: time of arrival in seconds from the start, and what the displays showed; blank where that meter sent nothing.
- \`case.json\`: the case that the recording belongs to, and the recording's start.
- \`expected.json\`: what the analysis must find, from what the virtual car did, not from the analysis.
`;
}
