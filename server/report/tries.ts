import type { Dip } from '../messages/attempts.ts';
import { durationText, estimateText } from '../messages/figures.ts';
import type { AttemptOutcome, RecordingEvent } from '../messages/records.ts';
import { timeText } from './about.ts';
import type { ReportInput } from './input.ts';
import type { Section } from './model.ts';

/** Tries at the handle, and the threshold that they give. */

const OUTCOME_WORDS: Readonly<Record<AttemptOutcome, string>> = {
  opened: 'opened by the handle',
  'button-only': 'the handle failed, the button worked',
  'locked-by-touch': 'locked by touch',
  nothing: 'nothing at all',
};

export function triesSection({ tries, events, recording }: ReportInput): Section {
  const title = 'Attempts at the handle';
  if (tries === null || tries.attempts.length === 0) {
    const own = events.filter((e) => e.kind === 'attempt');
    const paragraphs = own.length === 0 ? ['No attempt was marked in this recording.'] : [];
    return { title, paragraphs, facts: own.map(eventRow), bullets: [] };
  }
  const { threshold, attempts } = tries;
  return {
    title,
    paragraphs: [
      ...(attempts.some((a) => a.recordingId !== recording.id)
        ? ['The attempts of all recordings of this case.']
        : []),
      ...(threshold.thresholdV === null
        ? []
        : [`This car's threshold: ${estimateText(threshold.thresholdV, 'voltage')}.`]),
    ],
    facts: attempts.map((a) => [
      a.at === null ? durationText(a.atS) : timeText(a.at, recording.zone),
      a.outcome === null ? a.text || 'tried' : OUTCOME_WORDS[a.outcome],
      a.dip === null ? '' : dipText(a.dip),
    ]),
    bullets: threshold.says,
  };
}

function eventRow(e: RecordingEvent): string[] {
  const outcome = e.outcome ?? null;
  return [durationText(e.atMs / 1000), outcome === null ? e.text || 'tried' : OUTCOME_WORDS[outcome]];
}

function dipText({ restV, lowestV, recoveryS, peakA, sourceResistanceOhm }: Dip): string {
  const parts = [
    restV === null ? '' : `from ${estimateText(restV, 'voltage')}`,
    lowestV === null ? '' : `down to ${lowestV.toFixed(3)} V`,
    recoveryS === null ? '' : `back within ${estimateText(recoveryS, 'period')}`,
    peakA === null ? '' : `peak ${estimateText(peakA, 'current')}`,
    sourceResistanceOhm === null ? '' : `source ${estimateText(sourceResistanceOhm, 'resistance')}`,
  ];
  return parts.filter(Boolean).join(', ');
}
