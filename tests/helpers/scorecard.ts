import type { Estimate, Findings } from '../../server/messages/findings.ts';
import type { Night, NightSpec } from './nights.ts';

/** How findings compare with the truth: what is wrong in words, and every figure's error and uncertainty. */
export interface Score {
  readonly wrong: string[];
  readonly figures: {
    readonly kind: string;
    readonly error: number;
    readonly u: number;
    readonly limit: number;
  }[];
}

export function score(f: Findings, night: Night, spec: NightSpec): Score {
  const wrong: string[] = [];
  const figures: { kind: string; error: number; u: number; limit: number }[] = [];
  const { truth } = night;
  const figure = (kind: string, e: Estimate, expected: number, limit: number): void => {
    if (e === null) {
      wrong.push(`${kind} is missing, should be ${expected}`);
      return;
    }
    const error = e.value - expected;
    figures.push({ kind, error, u: e.expandedUncertainty, limit });
    if (Math.abs(error) > limit)
      wrong.push(`${kind} ${e.value} ± ${e.expandedUncertainty}, should be ${expected} within ${limit}`);
  };
  const within = (kind: string, value: number | null, expected: number, limit: number): void => {
    if (value === null || Math.abs(value - expected) > limit)
      wrong.push(`${kind} ${value}, should be ${expected} within ${limit}`);
  };

  const shut = spec.shutDowns ?? [];
  const state = shut.length > 0 ? 'slept' : 'asleep-from-start';
  if (f.sleep.state !== state) wrong.push(`sleep ${f.sleep.state}, should be ${state}`);
  if (shut.length > 0) within('time to sleep', f.sleep.timeToSleepS, truth.timeToSleepS, 5);
  const digit = spec.current!.resolution;
  const offset = spec.current!.offsetDrift ?? 0;
  // Pulses too fast to time may hide in the floor: then no baseline can be asked for.
  if (f.sleep.settledBaselineA !== null || f.polling.state !== 'unresolved')
    figure(
      'baseline',
      f.sleep.settledBaselineA,
      spec.baselineA,
      Math.max(0.02 * spec.baselineA, digit / 2) + offset,
    );

  scorePolling(f, night, spec, wrong, figure);

  // What passed while nothing was received cannot be asked for.
  const dropouts = spec.current!.dropouts ?? [];
  const wakes = (spec.wakeUps ?? []).filter((w) =>
    dropouts.every((d) => w.startS + w.durationS < d.startS - 5 || w.startS > d.endS + 5),
  );
  const unseen = (spec.wakeUps?.length ?? 0) > wakes.length;
  if (f.wakeUps.length !== wakes.length)
    wrong.push(`${f.wakeUps.length} wake-ups, should be ${wakes.length}`);
  else
    wakes.forEach((w, i) =>
      within(
        `wake-up ${i} charge`,
        f.wakeUps[i]!.chargeC,
        w.durationS * w.amplitudeA,
        0.03 * w.durationS * w.amplitudeA + offset * w.durationS,
      ),
    );
  const average = truth.averageAfterSleepA;
  figure(
    'average after sleep',
    f.draw.averageAfterSleepA,
    average,
    (unseen ? 0.1 * average : 0) + Math.max(0.005 * average, 1e-4) + offset + (digit > 2e-3 ? digit / 2 : 0),
  );
  const gap = (spec.current!.dropouts ?? []).reduce((s, d) => s + d.endS - d.startS, 0) / spec.durationS;
  figure(
    'total charge',
    f.draw.totalChargeC,
    truth.totalChargeC,
    (0.005 + gap * 0.5) * truth.totalChargeC + (offset + (digit > 2e-3 ? digit / 2 : 0)) * spec.durationS,
  );
  if (spec.battery !== undefined) {
    figure('rest voltage', f.battery.restVoltageV, spec.battery.restVoltageV, 0.01);
    const r = f.battery.sourceResistanceOhm;
    if (r !== null)
      figure(
        'source resistance',
        r,
        spec.battery.sourceResistanceOhm,
        0.1 * spec.battery.sourceResistanceOhm,
      );
  }
  return { wrong, figures };
}

function scorePolling(
  f: Findings,
  night: Night,
  spec: NightSpec,
  wrong: string[],
  figure: (kind: string, e: Estimate, expected: number, limit: number) => void,
): void {
  const stretches = night.truth.trains.flat().sort((a, b) => a.firstS - b.firstS);
  const interval = spec.current!.intervalS;
  const tooFast = stretches.filter((s) => s.periodS < 2 * interval);
  const end = spec.durationS;
  const ended = stretches.length > 0 && stretches.every((s) => end - s.lastS > Math.max(100, 14 * s.periodS));
  const state =
    stretches.length === 0
      ? 'absent'
      : tooFast.length === stretches.length
        ? 'unresolved'
        : ended
          ? 'stopped'
          : 'resolved';
  // A train almost in step with the readings shows in none of them.
  const inStep = tooFast.some(
    (s) => Math.abs(interval / s.periodS - Math.round(interval / s.periodS)) < 0.004,
  );
  if (inStep && f.polling.state === 'absent') return;
  if (f.polling.state !== state)
    wrong.push(
      `polling ${f.polling.state}, should be ${state} (candidates ${f.polling.candidatePeriodsS.map((p) => p.toFixed(4)).join(' ')})`,
    );
  if (state === 'unresolved') {
    for (const s of tooFast)
      if (!f.polling.candidatePeriodsS.some((p) => Math.abs(p / s.periodS - 1) < 2e-3))
        wrong.push(
          `candidates ${f.polling.candidatePeriodsS.map((p) => p.toFixed(4)).join(' ')} lack ${s.periodS}`,
        );
    return;
  }
  if (f.polling.regimes.length !== stretches.length) {
    const seen = f.polling.regimes.map((r) => `${r.periodS?.value ?? null} from ${r.startS} to ${r.endS}`);
    wrong.push(
      `${f.polling.regimes.length} regimes (${seen.join('; ')}), should be ${stretches.map((s) => `${s.periodS} from ${s.firstS} to ${s.lastS}`).join('; ')}`,
    );
    return;
  }
  const left = [...f.polling.regimes];
  for (const s of stretches) {
    const distance = (r: (typeof left)[number]): number =>
      Math.abs(Math.log((r.periodS?.value ?? 1e9) / s.periodS)) + Math.abs(r.startS - s.firstS) / end;
    left.sort((a, b) => distance(a) - distance(b));
    const r = left.shift()!;
    if (s.pulses >= 100) figure('period (relative)', relative(r.periodS, meanPeriod(s)), 0, 1e-4);
    else if (s.pulses >= 5)
      figure('period, few pulses (relative)', relative(r.periodS, meanPeriod(s)), 0, 0.01);
    const weak = s.chargePerPulseC / interval < 6 * spec.current!.noise;
    const edge = weak ? 600 : 3 * s.periodS;
    if (Math.abs(r.startS - s.firstS) > edge) wrong.push(`regime starts ${r.startS}, should ${s.firstS}`);
    if (Math.abs(r.endS - s.lastS) > edge) wrong.push(`regime ends ${r.endS}, should ${s.lastS}`);
    if (Math.abs(r.pulses - s.pulses) > Math.max(1, 0.01 * s.pulses) + (weak ? 600 / s.periodS : 0))
      wrong.push(`${r.pulses} pulses, should be ${s.pulses}`);
    figure(
      'polling average',
      r.averageA,
      s.chargePerPulseC / meanPeriod(s),
      Math.max(0.02 * s.averageA, 2e-4),
    );
  }
}

function relative(e: Estimate, expected: number): Estimate {
  return e === null
    ? null
    : { value: e.value / expected - 1, expandedUncertainty: e.expandedUncertainty / expected };
}

/** What the oscillator really did on average, its jitter and drift included. */
function meanPeriod(s: { firstS: number; lastS: number; pulses: number }): number {
  return (s.lastS - s.firstS) / Math.max(1, s.pulses - 1);
}
