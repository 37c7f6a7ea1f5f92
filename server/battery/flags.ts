import type { Findings, Flag } from '../messages/findings.ts';
import { durationText, estimateText, figureText } from '../messages/figures.ts';
import { AWAKE_A, LONGEST_HOLD_S } from '../analysis/sleep.ts';
import { regularity } from './regularity.ts';

/** Findings turned into what a technician does next, most telling first. */

export interface FlagFacts {
  readonly drawLimitA: number;
  readonly drawLimitFrom: 'default' | 'set';
  readonly accuracyStated: { readonly current: boolean; readonly voltage: boolean };
  readonly surfaceLeftV: number;
  /** Share of the voltage readings that only a charger explains. */
  readonly chargingShare: number;
  readonly chargingA: number | null;
  readonly slowIntervalS: number | null;
}

/** Published practice for a normal key-off draw runs from 5 to 85 mA; 50 mA is the commonest limit. */
export const DEFAULT_DRAW_LIMIT_A = 0.05;

type Rule = (f: Omit<Findings, 'flags'>, facts: FlagFacts) => Flag[];

/** Severity first; within a severity the order of the rules, which is from telling to incidental. */
export function raiseFlags(f: Omit<Findings, 'flags'>, facts: FlagFacts): Flag[] {
  const order = { act: 0, watch: 1, info: 2 };
  const flags = RULES.flatMap((rule) => rule(f, facts));
  return flags
    .map((flag, i) => ({ flag, i }))
    .sort((a, b) => order[a.flag.severity] - order[b.flag.severity] || a.i - b.i)
    .map((x) => x.flag);
}

const batteryZone: Rule = (f) => {
  const rest = f.battery.restVoltageV;
  if (rest === null) return [];
  const below = f.battery.thresholdV - rest.value;
  const u = rest.expandedUncertainty;
  const limit = `${f.battery.thresholdV.toFixed(2)} V`;
  const from = {
    default: 'the default, 40 % state of charge by the table in use, as no standard gives a voltage',
    set: 'set for this car',
    'measured-on-this-car': 'measured on this car',
  }[f.battery.thresholdFrom];
  const because = [
    `Rest voltage ${estimateText(rest, 'voltage')!}; passive entry is taken as unreliable below ${limit} (${from}).`,
  ];
  const charge = estimateText(f.battery.stateOfCharge, 'percent');
  if (charge !== null) because.push(`State of charge ${charge} by ${f.battery.table}.`);
  if (below > u)
    return [
      {
        code: 'battery-unreliable-zone',
        severity: 'act',
        summary: 'The battery sits in the unreliable zone.',
        because,
        next: 'Charge it fully, let it rest and test it before blaming the fob or the handle.',
      },
    ];
  if (below > -u)
    return [
      {
        code: 'battery-unreliable-zone',
        severity: 'watch',
        summary: 'The battery cannot be told apart from the edge of the unreliable zone with this meter.',
        because,
        next: 'Measure the rest voltage again with a better meter, or charge the battery and repeat.',
      },
    ];
  return [];
};

const drawLimit: Rule = (f, facts) => {
  const average = f.draw.averageAfterSleepA;
  if (average === null || f.recording.reversed) return [];
  const limit = figureText(facts.drawLimitA, 'current');
  const from =
    facts.drawLimitFrom === 'set'
      ? 'as set'
      : 'the default; published practice runs from 5 to 85 mA, the maker of the car has the last word';
  const over = average.value - facts.drawLimitA;
  const because = [
    `Average after sleep ${estimateText(average, 'current')!}; the limit is ${limit} (${from}).`,
  ];
  const { baselineA, pollingA, wakeUpsA } = f.draw.budget;
  if (baselineA !== null && pollingA !== null && wakeUpsA !== null)
    because.push(
      `${figureText(baselineA, 'current')} steady, ${figureText(pollingA, 'current')} polling, ${figureText(wakeUpsA, 'current')} wake-ups.`,
    );
  if (over > average.expandedUncertainty)
    return [
      {
        code: 'draw-above-limit',
        severity: 'act',
        summary: 'The key-off draw is above the limit.',
        because,
        next: 'Find the circuit: pull one fuse at a time with the car asleep and watch for the step.',
      },
    ];
  if (over > -average.expandedUncertainty)
    return [
      {
        code: 'draw-near-limit',
        severity: 'watch',
        summary: 'The key-off draw cannot be told apart from the limit with this meter.',
        because,
        next: 'Use a meter with a finer range, or a longer recording, before deciding.',
      },
    ];
  return [];
};

const neverSlept: Rule = (f) =>
  f.sleep.state !== 'never-slept'
    ? []
    : [
        {
          code: 'never-slept',
          severity: 'act',
          summary: 'The car never went to sleep.',
          because: [
            `In ${durationText(f.recording.durationS)} the draw never settled below ${figureText(AWAKE_A, 'current')}; published hold times end within ${durationText(LONGEST_HOLD_S)}.`,
          ],
          next: 'Check that the hood, doors and fob were as they should be; then find what holds the bus awake, fuse by fuse.',
        },
      ];

const keepsWaking: Rule = (f) => {
  const n = f.wakeUps.length;
  if (n < 3) return [];
  const rhythm = regularity(f.wakeUps.map((w) => w.startS));
  const share = f.draw.budget.wakeUpsA;
  return [
    {
      code: 'keeps-waking',
      severity: 'act',
      summary: `Something keeps waking the car: ${n} times.`,
      because: [
        rhythm.regular
          ? `It wakes every ${durationText(rhythm.intervalS)}, regularly: a timer or one module's retry.`
          : `It wakes about every ${durationText(rhythm.intervalS)}, irregularly: look for an outside cause, such as a switch, a fob or radio traffic.`,
        ...(share === null ? [] : [`The wake-ups cost ${figureText(share, 'current')} on average.`]),
      ],
      next: 'Unplug the suspected module, or pull its fuse, and see whether the waking stops.',
    },
  ];
};

const pollingFlags: Rule = (f) => {
  const p = f.polling;
  const out: Flag[] = [];
  const timed = p.regimes.filter((r) => r.periodS !== null);
  const stretched = timed.some((r, i) =>
    timed
      .slice(i + 1)
      .some((s) => s.startS >= r.endS - r.periodS!.value && s.periodS!.value > 1.2 * r.periodS!.value),
  );
  if (p.state === 'stopped')
    out.push({
      code: 'polling-stopped-normal',
      severity: 'info',
      summary: 'The polling stopped by itself, as many cars are designed to do.',
      because: [
        `It ended ${durationText(p.stoppedAtS ?? 0)} after the start; published designs stop after days without a fob, or after minutes with one near.`,
      ],
      next: 'Passive entry may need a press of the fob or a pull at the lock button before it works again; that is no battery fault.',
    });
  if (stretched)
    out.push({
      code: 'polling-stretched-normal',
      severity: 'info',
      summary: 'The polling slowed down by itself, as it is designed to.',
      because: timed.map(
        (r) => `Every ${estimateText(r.periodS, 'period')!} from ${durationText(r.startS)} on.`,
      ),
      next: null,
    });
  const fast = timed.find((r) => r.periodS!.value < 1 && r.endS - r.startS > FIVE_DAYS_S);
  if (fast !== undefined && !stretched)
    out.push({
      code: 'polling-does-not-stretch',
      severity: 'watch',
      summary: 'The polling never slowed down, though nobody should have been near.',
      because: [
        `Still every ${estimateText(fast.periodS, 'period')!} after ${durationText(fast.endS - fast.startS)}; published designs slow down after five days without a fob.`,
      ],
      next: 'Make sure every fob is well away, then look for a fob in the car or radio traffic that answers for one.',
    });
  return out;
};

const FIVE_DAYS_S = 5.2 * 86_400;

/** Published designs give the fast search up for good once a fob stays within reach for about ten minutes. */
const fobInRange: Rule = (f) => {
  const p = f.polling;
  if (p.state !== 'stopped' || p.stoppedAtS === null || p.regimes.length === 0) return [];
  const polled = p.stoppedAtS - p.regimes[0]!.startS;
  if (polled < 8 * 60 || polled > 13 * 60) return [];
  return [
    {
      code: 'fob-probably-in-range',
      severity: 'watch',
      summary: 'A fob was probably in range.',
      because: [
        `The polling gave up after ${durationText(polled)}; published designs do so after ten minutes with a fob near.`,
      ],
      next: 'Take every fob at least 3 m (10 ft) away and repeat the test.',
    },
  ];
};

const outlook: Rule = (f) => {
  const days = f.battery.daysToUnreliable;
  if (days === null || days.value <= 0) return [];
  return [
    {
      code: 'days-until-unreliable',
      severity: days.value < 7 ? 'watch' : 'info',
      summary: `At this draw the battery reaches the unreliable zone in ${estimateText(days, 'days')!}.`,
      because: [
        'From the state of charge, the average after sleep, and published self-discharge of 0 to 1 % a day.',
      ],
      next: null,
    },
  ];
};

const charging: Rule = (_f, facts) => {
  if (facts.chargingShare < 0.02 && facts.chargingA === null) return [];
  const because =
    facts.chargingShare >= 0.02
      ? [`The voltage is above 13.2 V for ${Math.round(100 * facts.chargingShare)} % of the recording.`]
      : [];
  if (facts.chargingA !== null)
    because.push(`Up to ${figureText(facts.chargingA, 'current')} flowed into the battery.`);
  return [
    {
      code: 'charger-connected',
      severity: 'watch',
      summary: 'Something charged the battery during the recording.',
      because,
      next: 'Take the charger off, or know the car topped up its own battery, and repeat for a rest voltage.',
    },
  ];
};

const surfaceCharge: Rule = (_f, facts) =>
  facts.surfaceLeftV < 0.02
    ? []
    : [
        {
          code: 'surface-charge-present',
          severity: 'info',
          summary: 'The battery still carried surface charge at the end.',
          because: [
            `About ${figureText(facts.surfaceLeftV, 'voltage')} were still to decay; the rest voltage given is where it was heading.`,
          ],
          next: 'Let it rest longer, or take the charge off with the headlamps for 15 s and wait 5 min.',
        },
      ];

const setUp: Rule = (f, facts) => {
  const out: Flag[] = [];
  const has = (q: 'current' | 'voltage'): boolean =>
    f.recording.channels.some((c) => c.quantity === q && c.samples > 0);
  if (f.recording.reversed)
    out.push({
      code: 'clamp-reversed',
      severity: 'watch',
      summary: 'The clamp is on backwards.',
      because: ['The current reads as flowing into the battery all night, though nothing charged it.'],
      next: 'Turn the clamp round, or set the sign of this channel; the figures are as recorded until then.',
    });
  if (has('current') && f.draw.averageAfterSleepA !== null && !zeroIsChecked(f))
    out.push({
      code: 'zero-not-checked',
      severity: 'info',
      summary: 'The zero of the current meter was not checked in this recording.',
      because: ['A clamp that reads a few milliamperes with nothing in it adds them to every figure.'],
      next: 'Record some readings with the clamp closed on nothing before and after.',
    });
  if (facts.slowIntervalS !== null)
    out.push({
      code: 'meter-too-slow',
      severity: 'watch',
      summary: 'The meter is too slow to time this polling.',
      because: [
        `One reading every ${durationText(facts.slowIntervalS)} cannot tell a fast train from a slower one; the average still holds.`,
      ],
      next: 'Record again with a faster meter, or at another rate and analyse both together.',
    });
  const silent = (['current', 'voltage'] as const).filter((q) => has(q) && !facts.accuracyStated[q]);
  if (silent.length > 0)
    out.push({
      code: 'accuracy-not-stated',
      severity: 'info',
      summary: `The accuracy of the ${silent.join(' and ')} meter was not stated.`,
      because: ['The uncertainties given carry only what the readings themselves show.'],
      next: 'Enter the accuracy from the data sheet, for example 0.5%+3.',
    });
  if (!has('current'))
    out.push({
      code: 'no-current-channel',
      severity: 'info',
      summary: 'There is no current in this recording.',
      because: ['Sleep, draw and charge come from the current.'],
      next: 'Add a clamp or an in-line meter on the battery lead.',
    });
  if (!has('voltage'))
    out.push({
      code: 'no-voltage-channel',
      severity: 'info',
      summary: 'There is no voltage in this recording.',
      because: ['Rest voltage and state of charge come from the voltage at the battery posts.'],
      next: 'Add a voltage meter at the battery posts.',
    });
  return out;
};

function zeroIsChecked(f: Omit<Findings, 'flags'>): boolean {
  return f.sleep.steps.some((s) => Math.min(Math.abs(s.fromA), Math.abs(s.toA)) < 1e-4);
}

const quality: Rule = (f) => {
  const out: Flag[] = [];
  const undecided =
    f.sleep.state === 'undetermined' && f.recording.channels.some((c) => c.quantity === 'current');
  if (f.recording.durationS < LONGEST_HOLD_S && (undecided || f.recording.durationS < 600))
    out.push({
      code: 'recording-too-short',
      severity: 'watch',
      summary: 'The recording is too short to say more.',
      because: [`${durationText(f.recording.durationS)} were recorded; shut-downs can take an hour.`],
      next: 'Record at least two hours, better a whole night.',
    });
  const gaps = f.recording.channels.flatMap((c) => c.gaps);
  const lost = Math.max(
    0,
    ...f.recording.channels.map((c) => c.gaps.reduce((s, g) => s + g.endS - g.startS, 0)),
  );
  if (gaps.length > 0)
    out.push({
      code: 'gaps-in-recording',
      severity: 'info',
      summary: `Readings are missing for ${durationText(lost)}.`,
      because: ['Nothing was made up for the gaps; what happened in them is not known.'],
      next:
        lost > 0.1 * f.recording.durationS
          ? 'Place the meter nearer, or check its battery, and repeat.'
          : null,
    });
  if (f.recording.clockSteps.length > 0)
    out.push({
      code: 'clock-stepped',
      severity: 'info',
      summary: 'The clock was set during the recording.',
      because: f.recording.clockSteps.map(
        (s) => `By ${s.stepS < 0 ? '-' : '+'}${durationText(s.stepS)} at ${durationText(s.atS)}.`,
      ),
      next: null,
    });
  return out;
};

const RULES: readonly Rule[] = [
  batteryZone,
  neverSlept,
  keepsWaking,
  drawLimit,
  fobInRange,
  charging,
  pollingFlags,
  outlook,
  surfaceCharge,
  setUp,
  quality,
];
