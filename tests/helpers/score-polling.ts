import type { Estimate, Findings, Regime } from '../../server/messages/findings.ts';
import type { TrainTruth } from './load.ts';
import type { Night, NightSpec } from './nights.ts';
import { LONGEST_CANDIDATE_S } from '../../server/analysis/resolvability.ts';
import { looksLikeFaster, longestMissed, seenShare, unknownShare } from './dead-time.ts';
import type { Scoring } from './scorecard.ts';

/** How the polling that was found compares with the trains that were there. */
export function scorePolling(s: Scoring, f: Findings, night: Night, spec: NightSpec): void {
  const meter = spec.current ?? spec.voltage!;
  const stretches = night.truth.trains.flat().sort((a, b) => a.firstS - b.firstS);
  const tooFast = stretches.filter((x) => x.periodS < 2 * meter.intervalS);
  let state = expectedState(stretches, tooFast, spec.durationS);
  if (f.polling.state === 'absent' && tooFast.some((x) => fillsAlike(x, meter.intervalS))) return;
  const coarse = stretches.filter((x) => looksLikeFaster(meter, x));
  if (f.polling.state === 'unresolved' && tooFast.length + coarse.length === stretches.length)
    state = 'unresolved';
  if (f.polling.state !== state)
    s.wrong.push(
      `polling ${f.polling.state}, should be ${state} (candidates ${listed(f.polling.candidatePeriodsS)})`,
    );
  if (state === 'unresolved') {
    for (const x of [...tooFast, ...coarse])
      if (
        x.periodS < LONGEST_CANDIDATE_S &&
        !f.polling.candidatePeriodsS.some((p) => Math.abs(p / x.periodS - 1) < 2e-3)
      )
        s.wrong.push(`candidates ${listed(f.polling.candidatePeriodsS)} lack ${x.periodS}`);
    return;
  }
  if (f.polling.regimes.length !== stretches.length) {
    const seen = f.polling.regimes.map((r) => `${r.periodS?.value ?? null} from ${r.startS} to ${r.endS}`);
    const due = stretches.map((x) => `${x.periodS} from ${x.firstS} to ${x.lastS}`);
    s.wrong.push(`${f.polling.regimes.length} regimes (${seen.join('; ')}), should be ${due.join('; ')}`);
    return;
  }
  const left = [...f.polling.regimes];
  for (const x of stretches) {
    const apart = (r: Regime): number =>
      r.periodS === null && looksLikeFaster(meter, x)
        ? Math.abs(r.endS - x.lastS) / spec.durationS
        : Math.abs(Math.log((r.periodS?.value ?? 1e9) / x.periodS));
    const distance = (r: Regime): number => apart(r) + Math.abs(r.startS - x.firstS) / spec.durationS;
    left.sort((a, b) => distance(a) - distance(b));
    scoreRegime(s, left.shift()!, x, spec, f.polling.candidatePeriodsS);
  }
}

/** Whether a train is almost in step with the readings, so many whole pulses in each: then it shows in none of them. */
function fillsAlike(x: TrainTruth, intervalS: number): boolean {
  const turns = intervalS / x.periodS;
  return turns > 0.5 && Math.abs(turns - Math.round(turns)) < 0.004;
}

/** What trains add alike to every reading of a meter without dead time, amperes: no analysis can tell it from the floor. */
export function alikeInReadings(night: Night, intervalS: number): number {
  return night.truth.trains
    .flat()
    .filter((x) => fillsAlike(x, intervalS))
    .reduce((sum, x) => sum + (Math.round(intervalS / x.periodS) * x.chargePerPulseC) / intervalS, 0);
}

function expectedState(
  stretches: readonly TrainTruth[],
  tooFast: readonly TrainTruth[],
  end: number,
): Findings['polling']['state'] {
  if (stretches.length === 0) return 'absent';
  if (tooFast.length === stretches.length) return 'unresolved';
  return stretches.every((x) => end - x.lastS > Math.max(100, 14 * x.periodS)) ? 'stopped' : 'resolved';
}

function scoreRegime(
  s: Scoring,
  r: Regime,
  x: TrainTruth,
  spec: NightSpec,
  candidates: readonly number[],
): void {
  const meter = spec.current ?? spec.voltage!;
  const period = meanPeriod(x);
  const bound = fixedClockBound(spec, x);
  const width = spec.trains!.find((t) => t.stretches.some((y) => y.periodS === x.periodS))!.widthS;
  const untold = r.periodS === null && looksLikeFaster(meter, x);
  if (untold) {
    if (x.periodS < LONGEST_CANDIDATE_S && !candidates.some((p) => Math.abs(p / x.periodS - 1) < 2e-3))
      s.wrong.push(`candidates ${listed(candidates)} lack ${x.periodS}`);
  } else if (x.pulses >= 100)
    s.figure('period (relative)', relative(r.periodS, period), 0, Math.min(1e-4, (3 * bound) / period));
  else if (x.pulses >= 5)
    s.figure('period, under 100 pulses (relative)', relative(r.periodS, period), 0, 0.01);
  const slack = edgeSlack(spec, x) / seenShare(meter) + longestMissed(meter, x, width) * x.periodS;
  if (Math.abs(r.startS - x.firstS) > slack) s.wrong.push(`regime starts ${r.startS}, should ${x.firstS}`);
  if (Math.abs(r.endS - x.lastS) > slack) s.wrong.push(`regime ends ${r.endS}, should ${x.lastS}`);
  const uncounted = slack > 3 * x.periodS ? (2 * slack) / x.periodS : 1;
  if (!untold) s.bare('pulse count', r.pulses, x.pulses, Math.max(uncounted, 0.01 * x.pulses));
  if (spec.current === undefined) return;
  const sign = spec.current.reversed === true ? -1 : 1;
  const covered = (Math.ceil(width / meter.intervalS) + 1) * meter.intervalS;
  const average = x.chargePerPulseC / period;
  s.figure(
    'polling average',
    r.averageA,
    sign * average,
    Math.max((0.02 + unknownShare(meter, x)) * average, 2e-4, (s.rounding * covered) / period),
  );
}

/**
 * A change is placed within 3 periods where single pulses show. Where only folding shows them, a pulse of d
 * deviations (its readings together) leaves an end uncertain by some multiple of 1 / d^2 pulses.
 */
function edgeSlack(spec: NightSpec, x: TrainTruth): number {
  const meter = spec.current ?? spec.voltage!;
  const height = (spec.current === undefined ? spec.battery!.sourceResistanceOhm : 1) * x.chargePerPulseC;
  const width = spec.trains![0]!.widthS;
  const readings = Math.max(1, width / meter.intervalS);
  const single = height / (readings * meter.intervalS);
  const noise = Math.hypot(meter.noise, meter.resolution / Math.sqrt(12));
  if (single > 6 * noise) return 3 * x.periodS;
  const d = (single * Math.sqrt(readings)) / noise;
  return (3 + 40 / d ** 2) * x.periodS;
}

/** Cramer-Rao: var P = 12 s^2 / (N (N^2 - 1)), s the pulses' own timing and the readings'; else no bound. */
function fixedClockBound(spec: NightSpec, x: TrainTruth): number {
  const own = spec.trains!.find((t) => t.stretches.some((y) => y.periodS === x.periodS));
  if (own?.whiteJitterS === undefined || own.jitter !== 0) return Infinity;
  const timing = Math.hypot(own.whiteJitterS, (spec.current ?? spec.voltage!).intervalS / Math.sqrt(12));
  return timing * Math.sqrt(12 / (x.pulses * (x.pulses ** 2 - 1)));
}

function relative(e: Estimate, expected: number): Estimate {
  return e === null
    ? null
    : { value: e.value / expected - 1, expandedUncertainty: e.expandedUncertainty / expected };
}

/** What the oscillator really did on average, its jitter and drift included. */
function meanPeriod(s: TrainTruth): number {
  return (s.lastS - s.firstS) / Math.max(1, s.pulses - 1);
}

function listed(periods: readonly number[]): string {
  return periods.map((p) => p.toFixed(4)).join(' ');
}
