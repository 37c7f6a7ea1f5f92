import { durationText, estimateText, figureText } from '../messages/figures.ts';
import type { Findings } from '../messages/findings.ts';
import type { Case, Gap, Recording, RecordingEvent } from '../messages/records.ts';
import { describeFindings, verdictOf, type Verdict } from '../messages/sentences.ts';
import type { Issued } from '../messages/seal.ts';
import { bucketsOf } from '../samples/buckets.ts';
import type { SampleColumns } from '../samples/columns.ts';
import { CAUTIONS, LIMITS_OF_A_SEAL } from './cautions.ts';
import { marksOf, type ReportMark } from './marks.ts';

/** For whom: the workshop gets everything, the customer one page. */
export type Reader = 'workshop' | 'customer';

/** Fingerprint of the key that seals here, root of the sealed blocks, and the bundle that was made last. */
export interface ReportSeal {
  readonly key: string;
  readonly root: string | null;
  /** `this` where the report lies in the bundle itself. */
  readonly bundle: Pick<Issued, 'at' | 'sha256'> | 'this' | null;
}

export interface ReportInput {
  readonly recording: Recording;
  readonly case: Case | null;
  readonly findings: Findings;
  readonly events: readonly RecordingEvent[];
  readonly gaps: readonly Gap[];
  /** Of each channel, in the recording's order. */
  readonly columns: readonly SampleColumns[];
  readonly version: string;
  /** When the report was made, UTC. */
  readonly madeAt: string;
  readonly seal: ReportSeal | null;
}

/** A line of highs and lows over the night. */
export interface Curve {
  readonly label: string;
  readonly unit: 'A' | 'V' | 'degC';
  readonly t: readonly number[];
  readonly min: readonly number[];
  readonly max: readonly number[];
  /** Top of the scale where the highest peaks are cut off, so that what lies below can be read; else null. */
  readonly cutAt: number | null;
}

export type Table = readonly (readonly string[])[];

export interface Section {
  readonly title: string;
  readonly paragraphs: readonly string[];
  /** Rows of name and text. */
  readonly facts: Table;
  readonly bullets: readonly string[];
}

export interface ReportModel {
  readonly reader: Reader;
  readonly title: string;
  readonly subject: string;
  readonly madeAt: string;
  readonly version: string;
  readonly verdict: Verdict;
  readonly about: Table;
  readonly figures: Table;
  readonly durationS: number;
  readonly startedAt: string | null;
  readonly zone: string | null;
  readonly curves: readonly Curve[];
  readonly thresholdV: number;
  readonly marks: readonly ReportMark[];
  readonly sections: readonly Section[];
}

const BUCKETS = 600;

/** Everything that a report says, in the order in which it says it. */
export function reportModel(input: ReportInput, reader: Reader): ReportModel {
  const { recording, findings, events } = input;
  const about = input.case?.title ?? recording.title;
  const sections = [
    ...(reader === 'workshop' ? workshopSections(input) : []),
    notTested(findings),
    { title: 'Cautions', paragraphs: [], facts: [], bullets: CAUTIONS },
    ...sealSection(input),
  ].filter((s) => s.paragraphs.length + s.facts.length + s.bullets.length > 0);
  return {
    reader,
    title: 'Overnight battery report',
    subject: about === '' ? recording.id : about,
    madeAt: input.madeAt,
    version: input.version,
    verdict: verdictOf(findings),
    about: aboutRows(input),
    figures: figureRows(findings),
    durationS: recording.durationMs / 1000,
    startedAt: recording.startedAt,
    zone: recording.zone,
    curves: curvesOf(input, reader),
    thresholdV: findings.battery.thresholdV,
    marks: marksOf(findings, events, input.gaps, recording.durationMs / 1000),
    sections: reader === 'workshop' ? sections : sections.map(shortened),
  };
}

function shortened(section: Section): Section {
  return { ...section, bullets: section.bullets.slice(0, 4) };
}

function aboutRows({ case: c, recording }: ReportInput): string[][] {
  const battery = c?.battery ?? null;
  const rows: [string, string | null | undefined][] = [
    ['Case', c?.title],
    ['Plate or VIN', c?.plateOrVin],
    ['Complaint', c?.complaint],
    [
      'Battery',
      battery === null
        ? null
        : [
            battery.role,
            battery.chemistry.toUpperCase(),
            battery.capacityAh === null ? '' : `${battery.capacityAh} Ah`,
          ]
            .filter(Boolean)
            .join(', '),
    ],
    ['Recording', recording.title],
    ['Started', recording.startedAt === null ? 'not known' : timeText(recording.startedAt, recording.zone)],
    ['Length', durationText(recording.durationMs / 1000)],
  ];
  return rows.flatMap(([name, text]) => (text ? [[name, text]] : []));
}

/** Date and time in the recording's own zone, and which that is. */
export function timeText(iso: string, zone: string | null): string {
  const zoneUsed = zone ?? 'UTC';
  try {
    const text = new Intl.DateTimeFormat('en-GB', {
      dateStyle: 'medium',
      timeStyle: 'short',
      timeZone: zoneUsed,
    }).format(new Date(iso));
    return `${text} (${zoneUsed})`;
  } catch {
    return `${iso.slice(0, 16).replace('T', ' ')} (UTC)`;
  }
}

/** Headline figures: name, value with its uncertainty, what it means. */
export function figureRows(f: Findings): string[][] {
  const none = 'not found';
  const b = f.battery;
  const polls = f.polling.regimes.at(-1)?.periodS ?? null;
  const WHENCE = {
    default: 'usual figure',
    set: 'set for this car',
    'measured-on-this-car': 'measured on this car',
  };
  const sleeps = {
    slept: durationText(f.sleep.timeToSleepS ?? 0),
    'asleep-from-start': 'asleep from the start',
    'never-slept': 'never slept',
    undetermined: 'cannot be said',
  };
  const polling = {
    resolved: estimateText(polls, 'period') ?? none,
    stopped: `${estimateText(polls, 'period') ?? none}, then stopped`,
    unresolved: 'too fast for this meter to time',
    absent: 'none',
    undetermined: 'cannot be said',
  };
  return [
    [
      'Rest voltage',
      estimateText(b.restVoltageV, 'voltage') ?? none,
      `unreliable below ${b.thresholdV.toFixed(2)} V (${WHENCE[b.thresholdFrom]})`,
    ],
    ['State of charge', estimateText(b.stateOfCharge, 'percent') ?? none, b.table],
    [
      'Average draw after sleep',
      estimateText(f.draw.averageAfterSleepA, 'current') ?? none,
      'polling and wake-ups included',
    ],
    [
      'Settled draw',
      estimateText(f.sleep.settledBaselineA, 'current') ?? none,
      'between pulses and wake-ups',
    ],
    ['Time to sleep', sleeps[f.sleep.state], `${f.sleep.steps.length} shut-down steps`],
    [
      'Polling period',
      polling[f.polling.state],
      f.polling.seenIn === 'voltage' ? 'seen as dips in the voltage' : '',
    ],
    [
      'Wake-ups',
      String(f.wakeUps.length),
      f.wakeUps.length === 0
        ? ''
        : `${figureText(
            f.wakeUps.reduce((n, w) => n + w.chargeC, 0),
            'charge',
          )} in all`,
    ],
    ['Days to the unreliable zone', estimateText(b.daysToUnreliable, 'days') ?? none, 'at this draw'],
  ];
}

function curvesOf({ recording, columns, findings }: ReportInput, reader: Reader): Curve[] {
  return recording.channels.flatMap(({ quantity, label }, k): Curve[] => {
    if (columns[k]!.length === 0) return [];
    const { t, min, max } = bucketsOf(columns[k]!, 0, recording.durationMs, BUCKETS);
    const unit = { current: 'A', voltage: 'V', temperature: 'degC' } as const;
    const whole: Curve = {
      label: label === '' ? quantity : label,
      unit: unit[quantity],
      t: [...t],
      min: [...min],
      max: [...max],
      cutAt: null,
    };
    const asleepS = findings.sleep.state === 'slept' ? (findings.sleep.timeToSleepS ?? 0) : 0;
    const cutAt = quantity === 'current' && reader === 'workshop' ? enlargedTop(whole, asleepS) : null;
    return cutAt === null ? [whole] : [whole, { ...whole, label: `${whole.label}, enlarged`, cutAt }];
  });
}

/** Where the night's draw would be a flat line under the peaks of the first minutes. */
function enlargedTop({ t, max }: Curve, asleepS: number): number | null {
  const asleep = max.filter((_, i) => t[i]! > asleepS).sort((a, b) => a - b);
  const usual = asleep[Math.floor(0.95 * asleep.length)];
  const highest = max.reduce((a, b) => Math.max(a, b), 0);
  return usual === undefined || usual <= 0 || highest < 6 * usual ? null : 1.5 * usual;
}

const TOPICS = {
  recording: 'Recording',
  sleep: 'Going to sleep',
  polling: 'Polling',
  'wake-ups': 'Wake-ups',
  draw: 'Draw',
  battery: 'Battery',
} as const;

function workshopSections(input: ReportInput): Section[] {
  const { findings, events, recording } = input;
  const said = describeFindings(findings);
  const topics = (Object.keys(TOPICS) as (keyof typeof TOPICS)[]).map((topic) => ({
    name: TOPICS[topic],
    text: said
      .filter((s) => s.topic === topic)
      .map((s) => s.text)
      .join(' '),
  }));
  const tries = events.filter((e) => e.kind === 'attempt');
  const flags = findings.flags.map((f) => [f.summary, ...f.because, f.next ?? ''].filter(Boolean).join(' '));
  return [
    {
      title: 'Findings',
      paragraphs: ['Each figure carries its expanded uncertainty (k = 2, about 95 %; JCGM 100:2008).'],
      facts: topics.filter((t) => t.text !== '').map((t) => [t.name, t.text]),
      bullets: flags,
    },
    {
      title: 'Attempts at the handle',
      paragraphs: tries.length === 0 ? ['No attempt was marked in this recording.'] : [],
      facts: tries.map((e) => [durationText(e.atMs / 1000), e.text === '' ? 'tried' : e.text]),
      bullets: [],
    },
    {
      title: 'How it was measured',
      paragraphs: [recording.provenance].filter(Boolean),
      facts: recording.channels.map((c, k) => [
        c.label === '' ? c.quantity : c.label,
        [
          c.meterName,
          c.driver === '' ? '' : `driver ${c.driver}`,
          `${c.samples} readings`,
          intervalText(findings.recording.channels[k]?.medianIntervalS ?? null),
          c.apertureMs === null ? 'averaging time not stated' : `each averaged over ${c.apertureMs} ms`,
        ]
          .filter(Boolean)
          .join(', '),
      ]),
      bullets: [],
    },
    {
      title: 'Log',
      paragraphs: [],
      facts: events.slice(0, 60).map((e) => [durationText(e.atMs / 1000), `${e.kind}: ${e.text}`]),
      bullets: events.length > 60 ? [`${events.length - 60} more entries are in the sealed bundle.`] : [],
    },
  ];
}

function intervalText(s: number | null): string {
  return s === null ? '' : `one every ${durationText(s)}`;
}

/** What nobody may read into the report. */
function notTested(f: Findings): Section {
  const quantities = f.recording.channels.map((c) => c.quantity);
  const bullets = [
    'The battery was not load-tested; state of charge comes from the rest voltage.',
    ...(quantities.includes('current') ? [] : ['No current was recorded: nothing is said about the draw.']),
    ...(quantities.includes('voltage')
      ? []
      : ['No voltage was recorded: nothing is said about the battery.']),
    'Which circuit draws the current was not measured here.',
    'One night was recorded; other nights and other temperatures may differ.',
  ];
  return { title: 'What was not tested', paragraphs: [], facts: [], bullets };
}

function sealSection({ seal }: ReportInput): Section[] {
  if (seal === null) return [];
  const { bundle } = seal;
  const facts = [
    ['Signing key', seal.key],
    ...(seal.root === null ? [] : [['Root of the sealed blocks', seal.root]]),
    [
      'Sealed bundle',
      bundle === 'this'
        ? 'this report lies in it; its statement names the same root'
        : bundle === null
          ? 'none was made yet'
          : `SHA-256 ${bundle.sha256}, made ${bundle.at.slice(0, 16).replace('T', ' ')} UTC`,
    ],
  ];
  return [{ title: 'Seal', paragraphs: [LIMITS_OF_A_SEAL], facts, bullets: [] }];
}
