import type { CurrentStory } from '../analysis/current.ts';
import type { Estimate, Findings, Regime } from '../messages/findings.ts';

/** Polling as the findings document says it: one state over all stretches and trains. */

/** Silence of this many periods, and at least a minute of it, before polling counts as stopped. */
const SILENT_PERIODS = 12;
const SILENT_S = 60;
/** With less than this of night there is nothing to say about polling that is not there. */
const LEAST_S = 20;

export function pollingFindings(story: CurrentStory | null, sign: number): Findings['polling'] {
  const none = { seenIn: null, stoppedAtS: null, candidatePeriodsS: [], regimes: [] };
  if (story === null) return { ...none, state: 'undetermined' };
  const { t } = story.conditioned;
  const end = t[t.length - 1] ?? 0;
  if (end - (t[0] ?? 0) < LEAST_S || t.length < 40) return { ...none, state: 'undetermined' };
  if (story.regimes.length === 0) return { ...none, state: 'absent' };
  const candidates = [...new Set(story.regimes.flatMap((r) => r.candidates))].sort((a, b) => a - b);
  const last = story.regimes.reduce((a, b) => (b.stretch.lastS > a.stretch.lastS ? b : a));
  const silence = end - last.stretch.lastS;
  const stopped = silence > Math.max(SILENT_S, SILENT_PERIODS * last.stretch.periodS);
  const timed = story.regimes.some((r) => r.resolved);
  return {
    state: !timed ? 'unresolved' : stopped ? 'stopped' : 'resolved',
    seenIn: 'current',
    stoppedAtS: timed && stopped ? last.stretch.lastS : null,
    candidatePeriodsS: candidates,
    regimes: story.regimes.map((r) => signedRegime(r.regime, sign)),
  };
}

function signedRegime(r: Regime, sign: number): Regime {
  const signed = (e: Estimate): Estimate => (e === null ? null : { ...e, value: sign * e.value });
  return {
    ...r,
    amplitudeA: signed(r.amplitudeA),
    chargePerPulseC: signed(r.chargePerPulseC),
    averageA: signed(r.averageA),
  };
}
