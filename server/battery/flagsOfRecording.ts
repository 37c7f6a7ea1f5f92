import { LONGEST_HOLD_S } from '../analysis/sleep.ts';
import type { Flag } from '../messages/findings.ts';
import { durationText } from '../messages/figures.ts';
import type { Rule } from './flagRule.ts';

/** What the set-up and the recording itself leave open. */

export const setUp: Rule = (f, facts) => {
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
  if (has('current') && f.draw.averageAfterSleepA !== null && facts.zeroChecks < 2)
    out.push(zeroFlag(facts.zeroChecks));
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

function zeroFlag(checks: number): Flag {
  const once = checks === 1;
  return {
    code: 'zero-not-checked',
    severity: 'info',
    summary: once
      ? 'The zero of the current meter was checked only once.'
      : 'The zero of the current meter was not checked in this recording.',
    because: [
      once
        ? 'That zero is taken off, but a clamp drifts with temperature: how far it moved since is not known.'
        : 'A clamp that reads a few milliamperes with nothing in it adds them to every figure.',
    ],
    next: once
      ? 'Check it again at the end, with the clamp closed on nothing.'
      : 'Check the zero with the clamp closed on nothing, before and after.',
  };
}

export const quality: Rule = (f) => {
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
