import type { MeasuredRegime } from '../analysis/regimes.ts';
import type { Estimate, Findings, Regime } from '../messages/findings.ts';

/** Polling as the findings document says it: one state over all stretches and trains. */

/** Silence of this many periods, and at least a minute of it, before polling counts as stopped. */
const SILENT_PERIODS = 12;
const SILENT_S = 60;
/** With less than this of night there is nothing to say about polling that is not there. */
const LEAST_S = 20;

const NOTHING = { seenIn: null, stoppedAtS: null, candidatePeriodsS: [], regimes: [] };
export const POLLING_UNKNOWN: Findings['polling'] = { ...NOTHING, state: 'undetermined' };

/** A channel's readings: how many, when the first and the last were taken. */
interface Seen {
  readonly samples: number;
  readonly firstS: number;
  readonly lastS: number;
}

export function isTooShort({ samples, firstS, lastS }: Seen): boolean {
  return lastS - firstS < LEAST_S || samples < 40;
}

/** Polling seen in the current; `sign` is -1 where the clamp reads the other way round. */
export function pollingInCurrent(
  seen: Seen,
  regimes: readonly MeasuredRegime[],
  sign: number,
): Findings['polling'] {
  if (isTooShort(seen)) return POLLING_UNKNOWN;
  if (regimes.length === 0) return { ...NOTHING, state: 'absent' };
  return {
    ...stateOf(regimes, seen.lastS),
    seenIn: 'current',
    regimes: regimes.map((r) =>
      scaled(r.regime, (e) => (e === null ? null : { ...e, value: sign * e.value })),
    ),
  };
}

/**
 * Polling seen as dips of the voltage: its times are known, its current only through the source resistance,
 * where that was measured. Null where no dip keeps a rhythm.
 */
export function pollingInVoltage(
  lastS: number,
  dips: readonly MeasuredRegime[],
  source: { readonly ohm: number; readonly standardU: number } | null,
): Findings['polling'] | null {
  if (dips.length === 0) return null;
  const amperes = (e: Estimate): Estimate => {
    if (e === null || source === null) return null;
    const value = e.value / source.ohm;
    const own = e.expandedUncertainty / source.ohm;
    return { value, expandedUncertainty: Math.hypot(own, (2 * value * source.standardU) / source.ohm) };
  };
  return {
    ...stateOf(dips, lastS),
    seenIn: 'voltage',
    regimes: dips.map((r) => scaled(r.regime, amperes)),
  };
}

function stateOf(
  regimes: readonly MeasuredRegime[],
  end: number,
): Pick<Findings['polling'], 'state' | 'stoppedAtS' | 'candidatePeriodsS'> {
  const last = regimes.reduce((a, b) => (b.stretch.lastS > a.stretch.lastS ? b : a));
  const silence = end - last.stretch.lastS;
  const stopped = silence > Math.max(SILENT_S, SILENT_PERIODS * last.stretch.periodS);
  const timed = regimes.some((r) => r.resolved);
  return {
    state: !timed ? 'unresolved' : stopped ? 'stopped' : 'resolved',
    stoppedAtS: timed && stopped ? last.stretch.lastS : null,
    candidatePeriodsS: [...new Set(regimes.flatMap((r) => r.candidates))].sort((a, b) => a - b),
  };
}

function scaled(r: Regime, by: (e: Estimate) => Estimate): Regime {
  return {
    ...r,
    amplitudeA: by(r.amplitudeA),
    chargePerPulseC: by(r.chargePerPulseC),
    averageA: by(r.averageA),
  };
}
