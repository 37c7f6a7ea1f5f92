import type { Findings, Flag, Regime } from './findings.ts';
import { durationText, estimateText, figureText } from './figures.ts';

export interface FindingSentence {
  readonly topic: 'sleep' | 'polling' | 'wake-ups' | 'draw' | 'battery' | 'recording';
  readonly text: string;
  /** Where in the recording the sentence points, seconds; null when it is about the whole. */
  readonly atS: number | null;
}

export interface Verdict {
  readonly level: 'act' | 'watch' | 'fine' | 'unknown';
  readonly headline: string;
  readonly because: string[];
  readonly next: string | null;
}

/** The findings as plain sentences, in the order in which a technician asks. */
export function describeFindings(f: Findings): FindingSentence[] {
  return [
    ...recordingSentences(f),
    ...sleepSentences(f),
    ...pollingSentences(f),
    ...wakeUpSentences(f),
    ...drawSentences(f),
    ...batterySentences(f),
  ];
}

/** The one thing to say first: the most telling flag, or that nothing was found wrong, or that it cannot be said. */
export function verdictOf(f: Findings): Verdict {
  const first = f.flags.find((x) => x.severity === 'act') ?? f.flags.find((x) => x.severity === 'watch');
  const cannotSay = f.flags.find((x) => x.code === 'recording-too-short');
  if (first !== undefined && first !== cannotSay)
    return fromFlag(first, first.severity === 'act' ? 'act' : 'watch');
  if (cannotSay !== undefined) return fromFlag(cannotSay, 'unknown');
  const hasCurrent = f.draw.averageAfterSleepA !== null;
  const hasVoltage = f.battery.restVoltageV !== null;
  if (!hasCurrent && !hasVoltage)
    return {
      level: 'unknown',
      headline: 'These readings do not settle anything yet.',
      because: ['Neither a settled draw nor a rest voltage could be found.'],
      next: 'Record a whole night with the clamp on the battery lead and the voltage at the battery posts.',
    };
  const because = [
    ...sleepSentences(f).slice(0, 1),
    ...drawSentences(f).slice(0, 1),
    ...batterySentences(f).slice(0, 1),
  ].map((s) => s.text);
  return { level: 'fine', headline: 'Nothing found wrong in this recording.', because, next: null };
}

function fromFlag(flag: Flag, level: Verdict['level']): Verdict {
  return { level, headline: flag.summary, because: flag.because, next: flag.next };
}

type Topic = FindingSentence['topic'];
const say = (topic: Topic, text: string, atS: number | null = null): FindingSentence => ({
  topic,
  text,
  atS,
});

function recordingSentences(f: Findings): FindingSentence[] {
  const r = f.recording;
  const out = [say('recording', `The recording is ${durationText(r.durationS)} long.`)];
  for (const c of r.channels) {
    if (c.gaps.length === 0) continue;
    const lost = c.gaps.reduce((sum, g) => sum + g.endS - g.startS, 0);
    const gaps = c.gaps.length === 1 ? '1 gap' : `${c.gaps.length} gaps`;
    out.push(
      say('recording', `The ${c.quantity} has ${gaps}, ${durationText(lost)} in all.`, c.gaps[0]!.startS),
    );
  }
  for (const step of r.clockSteps) {
    const way = step.stepS < 0 ? 'back' : 'forward';
    out.push(say('recording', `The clock was set ${way} by ${durationText(step.stepS)}.`, step.atS));
  }
  if (r.alignment !== undefined) out.push(say('recording', alignmentText(r.alignment)));
  if (r.reversed)
    out.push(
      say('recording', 'The clamp seems to be on backwards: the current reads as charging all night.'),
    );
  return out;
}

function alignmentText({ lagS, steps }: NonNullable<Findings['recording']['alignment']>): string {
  const by = `by ${steps} load steps that both meters saw`;
  if (Math.abs(lagS.value) <= lagS.expandedUncertainty)
    return `The two meters are together to within ${durationText(lagS.expandedUncertainty)}, ${by}.`;
  const later = lagS.value > 0 ? 'voltage' : 'current';
  const text = estimateText({ ...lagS, value: Math.abs(lagS.value) }, 'width')!;
  return `The ${later} meter's readings come ${text} after the other's, ${by}; that is taken out where the two are held together.`;
}

function sleepSentences(f: Findings): FindingSentence[] {
  const s = f.sleep;
  const out: FindingSentence[] = [];
  switch (s.state) {
    case 'slept':
      out.push(say('sleep', `Asleep ${durationText(s.timeToSleepS ?? 0)} after the start.`, s.timeToSleepS));
      break;
    case 'asleep-from-start':
      out.push(say('sleep', 'Already asleep when the recording began.', 0));
      break;
    case 'never-slept':
      out.push(say('sleep', 'It never went to sleep during the recording.'));
      break;
    case 'undetermined':
      out.push(say('sleep', 'Whether it went to sleep cannot be said from these readings.'));
      break;
  }
  const baseline = estimateText(s.settledBaselineA, 'current');
  if (baseline !== null)
    out.push(say('sleep', `The settled draw between pulses and wake-ups is ${baseline}.`, s.timeToSleepS));
  for (const step of s.steps)
    out.push(
      say(
        'sleep',
        `The draw ${step.toA < step.fromA ? 'fell' : 'rose'} from ${figureText(step.fromA, 'current')} to ` +
          `${figureText(step.toA, 'current')} at ${durationText(step.atS)}.`,
        step.atS,
      ),
    );
  return out;
}

function pollingSentences(f: Findings): FindingSentence[] {
  const p = f.polling;
  const unit = p.seenIn === 'voltage' ? ' (seen as dips in the voltage)' : '';
  const out: FindingSentence[] = [];
  for (const r of p.regimes) out.push(say('polling', regimeText(r, unit), r.startS));
  switch (p.state) {
    case 'stopped':
      if (p.stoppedAtS !== null)
        out.push(say('polling', `The polling stopped at ${durationText(p.stoppedAtS)}.`, p.stoppedAtS));
      break;
    case 'unresolved':
      out.push(say('polling', unresolvedText(p.candidatePeriodsS)));
      break;
    case 'absent':
      out.push(say('polling', 'No polling was found.'));
      break;
    case 'undetermined':
      out.push(say('polling', 'Whether it polls cannot be said from these readings.'));
      break;
    case 'resolved':
      break;
  }
  return out;
}

function regimeText(r: Regime, where: string): string {
  const period = estimateText(r.periodS, 'period');
  const parts = [
    `${period === null ? 'Pulses' : `A pulse every ${period}`}${where} from ${durationText(r.startS)} to ${durationText(r.endS)}, ${r.pulses} pulses`,
  ];
  const width = estimateText(r.widthS, 'width');
  if (width !== null) parts.push(`each ${width} wide`);
  const charge = estimateText(r.chargePerPulseC, 'pulseCharge');
  if (charge !== null) parts.push(`${charge} a pulse`);
  const average = estimateText(r.averageA, 'current');
  if (average !== null) parts.push(`${average} on average`);
  return `${parts.join(', ')}.`;
}

function unresolvedText(candidates: readonly number[]): string {
  const start = 'Something pulses faster than this meter can time; the average still counts it.';
  if (candidates.length === 0) return start;
  if (candidates.length === 1)
    return `${start} Of the periods up to 2 s only one fits all that was recorded: ${Number(candidates[0]!.toPrecision(4))} s.`;
  const shown = candidates.slice(0, 6).map((c) => `${Number(c.toPrecision(4))} s`);
  const more = candidates.length > shown.length ? ` and ${candidates.length - shown.length} more` : '';
  return `${start} Periods that would read the same here: ${shown.join(', ')}${more}.`;
}

function wakeUpSentences(f: Findings): FindingSentence[] {
  const n = f.wakeUps.length;
  if (n === 0) {
    const asleep = f.sleep.state === 'slept' || f.sleep.state === 'asleep-from-start';
    return asleep ? [say('wake-ups', 'It did not wake up again.')] : [];
  }
  const charge = f.wakeUps.reduce((sum, w) => sum + w.chargeC, 0);
  const times = n === 1 ? 'once' : n === 2 ? 'twice' : `${n} times`;
  const longest = f.wakeUps.reduce((a, b) => (b.durationS > a.durationS ? b : a));
  return [
    say('wake-ups', `It woke ${times}, ${figureText(charge, 'charge')} in all.`, f.wakeUps[0]!.startS),
    say(
      'wake-ups',
      `${n === 1 ? 'It' : 'The longest'} lasted ${durationText(longest.durationS)} at ${durationText(longest.startS)}, ` +
        `up to ${figureText(longest.peakA, 'current')}.`,
      longest.startS,
    ),
  ];
}

function drawSentences(f: Findings): FindingSentence[] {
  const d = f.draw;
  const out: FindingSentence[] = [];
  const average = estimateText(d.averageAfterSleepA, 'current');
  if (average !== null)
    out.push(say('draw', `The average draw after sleep is ${average}.`, f.sleep.timeToSleepS));
  const { baselineA, pollingA, wakeUpsA } = d.budget;
  if (baselineA !== null && pollingA !== null && wakeUpsA !== null)
    out.push(
      say(
        'draw',
        `Of that, ${figureText(baselineA, 'current')} is always there, ${figureText(pollingA, 'current')} is polling ` +
          `and ${figureText(wakeUpsA, 'current')} is wake-ups.`,
      ),
    );
  const lastHour = estimateText(d.averageLastHourA, 'current');
  if (lastHour !== null) out.push(say('draw', `Over the last hour it drew ${lastHour}.`));
  const charge = estimateText(d.totalChargeC, 'charge');
  if (charge !== null) out.push(say('draw', `${charge} left the battery during the recording.`));
  return out;
}

function batterySentences(f: Findings): FindingSentence[] {
  const b = f.battery;
  const out: FindingSentence[] = [];
  const rest = estimateText(b.restVoltageV, 'voltage');
  if (rest !== null) out.push(say('battery', `The rest voltage is ${rest}.`));
  const charge = estimateText(b.stateOfCharge, 'percent');
  if (charge !== null) out.push(say('battery', `That is a state of charge of ${charge} (${b.table}).`));
  const resistance = estimateText(b.sourceResistanceOhm, 'resistance');
  if (resistance !== null)
    out.push(say('battery', `The source resistance, from its own load steps, is ${resistance}.`));
  const days = estimateText(b.daysToUnreliable, 'days');
  if (days !== null)
    out.push(
      say(
        'battery',
        `At this draw it reaches the unreliable zone (${b.thresholdV.toFixed(2)} V) in ${days}.`,
      ),
    );
  return out;
}
