import { stateOfChargeAt, tableFor } from '../../server/battery/tables.ts';
import type { Estimate, Findings } from '../../server/messages/findings.ts';
import { seenShare, unknownShare } from './dead-time.ts';
import type { Night, NightSpec } from './nights.ts';
import { alikeInReadings, scorePolling } from './score-polling.ts';

/** One figure against its truth. */
export interface ScoredFigure {
  readonly kind: string;
  /** Against what the tolerance is about, and the tolerance. */
  readonly error: number;
  readonly limit: number;
  /** Expanded uncertainty, and the error that it should cover; null for figures that carry none. */
  readonly u: number | null;
  readonly toCover: number;
}

export interface Scoring {
  readonly wrong: string[];
  readonly figures: ScoredFigure[];
  /** What the display's rounding may do to a mean, amperes: half a digit where no noise carries it across. */
  readonly rounding: number;
  figure(kind: string, e: Estimate, expected: number, limit: number): void;
  bare(kind: string, value: number | null, expected: number, limit: number): void;
}

/** How findings compare with the truth: what is wrong in words, and every figure's error and uncertainty. */
export function score(f: Findings, night: Night, spec: NightSpec): Scoring {
  const s = scoring(spec);
  if (spec.current !== undefined) {
    scoreSleep(s, f, night, spec);
    scoreDraw(s, f, night, spec);
    scoreWakeUps(s, f, night, spec);
  }
  if (spec.charger === undefined && spec.durationS > 300 && isAsleep(spec)) scorePolling(s, f, night, spec);
  scoreBattery(s, f, night, spec);
  scoreFlags(s, f, spec);
  return s;
}

function scoring(spec: NightSpec): Scoring {
  const wrong: string[] = [];
  const figures: ScoredFigure[] = [];
  const { resolution, noise } = spec.current ?? { resolution: 0, noise: 0 };
  const ratio = noise / Math.max(resolution, 1e-12);
  return {
    wrong,
    figures,
    rounding:
      ratio < 0.3 ? resolution / 2 : (resolution / Math.PI) * Math.exp(-2 * Math.PI ** 2 * ratio ** 2),
    figure(kind, e, expected, limit) {
      if (e === null) {
        wrong.push(`${kind} is missing, should be ${expected}`);
        return;
      }
      const error = e.value - expected;
      figures.push({ kind, error, limit, u: e.expandedUncertainty, toCover: error });
      if (!(Math.abs(error) <= limit))
        wrong.push(`${kind} ${e.value} ± ${e.expandedUncertainty}, should be ${expected} within ${limit}`);
    },
    bare(kind, value, expected, limit) {
      const error = value === null ? Infinity : value - expected;
      figures.push({ kind, error, limit, u: null, toCover: error });
      if (!(Math.abs(error) <= limit)) wrong.push(`${kind} ${value}, should be ${expected} within ${limit}`);
    },
  };
}

const isAsleep = (spec: NightSpec): boolean => spec.baselineA < 0.13;

/** What the meter itself may add to every reading, amperes: no analysis can know it. */
function unknowable(spec: NightSpec, value: number): number {
  const { offsetDrift, accuracy, resolution } = spec.current!;
  const stated =
    accuracy === undefined ? 0 : (accuracy.percent / 100) * Math.abs(value) + accuracy.digits * resolution;
  return (offsetDrift ?? 0) + stated;
}

function scoreSleep(s: Scoring, f: Findings, night: Night, spec: NightSpec): void {
  const shut = spec.shutDowns ?? [];
  const state = !isAsleep(spec) ? 'never-slept' : shut.length > 0 ? 'slept' : 'asleep-from-start';
  if (f.sleep.state !== state) s.wrong.push(`sleep ${f.sleep.state}, should be ${state}`);
  if (!isAsleep(spec)) return;
  if (shut.length > 0 && spec.charger === undefined)
    s.bare('time to sleep', f.sleep.timeToSleepS, night.truth.timeToSleepS, 5);
  // Pulses too fast to time may hide in the floor: then no baseline can be asked for.
  if (f.sleep.settledBaselineA === null && f.polling.state === 'unresolved') return;
  const { intervalS, resolution } = spec.current!;
  const steadyA = spec.baselineA + (f.polling.state === 'absent' ? alikeInReadings(night, intervalS) : 0);
  const limit = Math.max(0.02 * spec.baselineA, resolution / 2);
  const sign = spec.current!.reversed === true ? -1 : 1;
  s.figure('settled baseline', f.sleep.settledBaselineA, sign * steadyA, limit + unknowable(spec, steadyA));
}

function lost(spec: NightSpec): readonly { startS: number; endS: number }[] {
  return spec.current!.dropouts ?? [];
}

function seenWakeUps(spec: NightSpec): NonNullable<NightSpec['wakeUps']> {
  return (spec.wakeUps ?? []).filter((w) =>
    lost(spec).every((d) => w.startS + w.durationS < d.startS - 5 || w.startS > d.endS + 5),
  );
}

/** What one pulse under a wake-up, seen or missed, stands for where apertures leave time unmeasured, coulombs. */
function onePulseUnseenC(night: Night, spec: NightSpec): number {
  const share = seenShare(spec.current!);
  return share < 1 ? Math.max(0, ...night.truth.trains.flat().map((x) => x.chargePerPulseC / share)) : 0;
}

function scoreWakeUps(s: Scoring, f: Findings, night: Night, spec: NightSpec): void {
  if (!isAsleep(spec)) return;
  const wakes = seenWakeUps(spec);
  if (f.wakeUps.length !== wakes.length) {
    s.wrong.push(`${f.wakeUps.length} wake-ups, should be ${wakes.length}`);
    return;
  }
  const sign = spec.current!.reversed === true ? -1 : 1;
  wakes.forEach((w, i) => {
    const charge = w.durationS * w.amplitudeA;
    const blank = spec.current!.autoRange === undefined ? 0 : 2 * spec.current!.intervalS * w.amplitudeA;
    const meter =
      s.rounding * w.durationS + (unknowable(spec, w.amplitudeA) - unknowable(spec, 0)) * w.durationS;
    const unseen = onePulseUnseenC(night, spec);
    s.bare('wake-up charge', f.wakeUps[i]!.chargeC, sign * charge, 0.03 * charge + blank + meter + unseen);
  });
}

/** What pulses between apertures may add to the night's average or take from it, amperes. */
function unseenA(night: Night, spec: NightSpec): number {
  return night.truth.trains
    .flat()
    .reduce(
      (sum, x) => sum + (unknownShare(spec.current!, x) * x.averageA * (x.endS - x.startS)) / spec.durationS,
      0,
    );
}

function scoreDraw(s: Scoring, f: Findings, night: Night, spec: NightSpec): void {
  const { truth } = night;
  const sign = spec.current!.reversed === true ? -1 : 1;
  const average = truth.averageAfterSleepA;
  const missed = (spec.wakeUps?.length ?? 0) > seenWakeUps(spec).length;
  const unknownA = unknowable(spec, average) + unseenA(night, spec);
  const gapS = lost(spec).reduce((sum, d) => sum + d.endS - d.startS, 0);
  if (isAsleep(spec) && spec.charger === undefined)
    s.figure(
      'average after sleep',
      f.draw.averageAfterSleepA,
      sign * average,
      (missed ? 0.1 * average : 0) + Math.max(0.005 * average, 1e-4, s.rounding) + unknownA,
    );
  const meter =
    (s.rounding + unknowable(spec, truth.totalChargeC / spec.durationS) + unseenA(night, spec)) *
    spec.durationS;
  s.figure(
    'total charge',
    f.draw.totalChargeC,
    sign * truth.totalChargeC,
    (0.005 + (0.5 * gapS) / spec.durationS) * Math.abs(truth.totalChargeC) + meter,
  );
}

function scoreBattery(s: Scoring, f: Findings, night: Night, spec: NightSpec): void {
  const { battery } = spec;
  if (battery === undefined || spec.charger !== undefined) return;
  s.figure('rest voltage', f.battery.restVoltageV, battery.restVoltageV, 0.01);
  const charge = f.battery.stateOfCharge;
  if (charge === null) s.wrong.push('state of charge is missing');
  else {
    const error = charge.value - stateOfChargeAt(tableFor(battery.chemistry), battery.restVoltageV);
    const toCover = charge.value - night.truth.stateOfCharge!;
    s.figures.push({ kind: 'state of charge', error, limit: 0.03, u: charge.expandedUncertainty, toCover });
    if (Math.abs(error) > 0.03) s.wrong.push(`state of charge ${charge.value} is off by ${error}`);
  }
  const ohm = battery.sourceResistanceOhm;
  if (f.battery.sourceResistanceOhm !== null)
    s.figure('source resistance', f.battery.sourceResistanceOhm, ohm, Math.max(0.1 * ohm, leastOhm(spec)));
}

/** What the voltage's noise leaves of a resistance from this night's load steps: twice its deviation. */
function leastOhm(spec: NightSpec): number {
  const steps = [
    ...(spec.shutDowns ?? []).map((x) => x.dropA),
    ...(spec.wakeUps ?? []).flatMap((w) => [w.amplitudeA, w.amplitudeA]),
  ];
  const v = spec.voltage!;
  const noise = Math.hypot(v.noise, v.resolution / Math.sqrt(12));
  const readings = 30 / v.intervalS;
  const squares = steps.reduce((sum, x) => sum + x * x, 0);
  return (2 * noise * Math.sqrt(4 / readings)) / Math.sqrt(squares);
}

function scoreFlags(s: Scoring, f: Findings, spec: NightSpec): void {
  const has = (code: string): boolean => f.flags.some((x) => x.code === code);
  const due: [string, boolean][] = [
    ['clamp-reversed', spec.current?.reversed === true],
    ['charger-connected', spec.charger !== undefined],
    ['never-slept', spec.current !== undefined && !isAsleep(spec)],
    ['clock-stepped', (spec.clockSteps ?? []).length > 0 || spec.current?.clockStep !== undefined],
    ['no-current-channel', spec.current === undefined],
    ['no-voltage-channel', spec.voltage === undefined],
    ['recording-too-short', spec.durationS < 600],
  ];
  for (const [code, expected] of due)
    if (has(code) !== expected) s.wrong.push(`flag ${code} is ${expected ? 'missing' : 'wrong'}`);
}
