import type { MeterSpec, NightSpec } from './nights.ts';
import { Random } from './random.ts';

/** Kinds of hard night, each drawn at random from a seed; every one has exact truth. */
export const HARD_NIGHTS = {
  clear: (r: Random) => base(r),
  quiet: (r: Random) => ({ ...base(r), trains: [] }),
  noisy: (r: Random) => {
    const night = base(r);
    return { ...night, current: { ...night.current!, noise: r.between(2e-3, 6e-3) } };
  },
  coarse: (r: Random) => {
    const night = base(r);
    return { ...night, current: { ...night.current!, resolution: r.pick([1e-3, 1e-2]) } };
  },
  fast: (r: Random) => {
    const night = base(r);
    const current: MeterSpec = { intervalS: r.pick([0.005, 0.01, 0.02]), resolution: 1e-4, noise: 1e-3 };
    const stretch = { startS: 60 + r.next(), endS: 3600, periodS: r.logBetween(0.25, 3) };
    return {
      ...night,
      durationS: 3600,
      shutDowns: [{ atS: r.between(60, 900), dropA: 0.3 }],
      trains: [{ widthS: r.between(0.02, 0.1), amplitudeA: r.between(0.1, 0.6), stretches: [stretch] }],
      wakeUps: [],
      current,
    };
  },
  radio: (r: Random) => {
    const night = base(r);
    const { intervalS } = night.current!;
    const bunchS = r.next() < 0.5 ? { bunchS: r.pick([2, 4]) * intervalS } : {};
    return {
      ...night,
      current: {
        ...night.current!,
        radioJitterS: r.between(0.1, 0.8) * intervalS,
        lossFraction: 0.03,
        dropouts: [{ startS: 0.6 * night.durationS, endS: 0.6 * night.durationS + 1200 }],
        ...bunchS,
      },
    };
  },
  deadTime: (r: Random) => {
    const night = base(r);
    const intervalS = r.pick([0.1, 0.25, 0.4]);
    const apertureS = intervalS * r.between(0.25, 0.6);
    return { ...night, current: { ...night.current!, intervalS, apertureS } };
  },
  oscillator: (r: Random) => {
    const night = base(r);
    return { ...night, trains: night.trains!.map((t) => ({ ...t, jitter: 1e-4, drift: 1e-5 })) };
  },
  drifting: (r: Random) => {
    const night = base(r);
    return { ...night, current: { ...night.current!, offsetDrift: r.between(1e-3, 4e-3) } };
  },
  burst: (r: Random) => {
    const night = base(r);
    return {
      ...night,
      trains: night.trains!.map((t) => ({
        ...t,
        burst: { pulses: 3, spacingS: Math.min(r.between(0.03, 0.12), t.stretches[0]!.periodS / 8) },
      })),
    };
  },
  twoTrains: (r: Random) => {
    const night = base(r);
    const other = { startS: 70 + r.next(), endS: night.durationS, periodS: r.between(5, 60) };
    return {
      ...night,
      trains: [
        ...night.trains!,
        { widthS: r.between(0.03, 0.5), amplitudeA: r.between(0.3, 0.8), stretches: [other] },
      ],
    };
  },
  longPeriod: (r: Random) => {
    const night = base(r);
    const stretch = { startS: 60 + r.next(), endS: 12 * 3600, periodS: r.logBetween(60, 7200) };
    return {
      ...night,
      durationS: 12 * 3600,
      trains: [{ widthS: r.between(0.1, 1), amplitudeA: r.between(0.4, 1), stretches: [stretch] }],
    };
  },
  weak: (r: Random) => {
    const night = base(r);
    const periodS = r.logBetween(0.5, 5);
    return {
      ...night,
      durationS: 8 * 3600,
      wakeUps: [],
      current: { intervalS: r.pick([0.02, 0.05]), resolution: 1e-4, noise: 6e-3 },
      trains: [
        {
          widthS: r.between(0.1, 0.3),
          amplitudeA: r.between(3e-3, 6e-3),
          stretches: [{ startS: 60 + r.next(), endS: 8 * 3600, periodS }],
        },
      ],
    };
  },
  tooFast: (r: Random) => {
    const night = base(r);
    const intervalS = r.pick([0.333, 0.4, 0.5, 1]);
    const periodS = r.pick([0.25, 0.3, 0.6]) * (1 + 1e-3 * (r.next() - 0.5));
    const stretch = { startS: 60 + r.next(), endS: night.durationS, periodS };
    return {
      ...night,
      current: { ...night.current!, intervalS, noise: 3e-4 },
      trains: [{ widthS: 0.02, amplitudeA: r.between(0.2, 0.6), stretches: [stretch] }],
    };
  },
  slow: (r: Random) => {
    const night = base(r);
    return { ...night, trains: [], current: { ...night.current!, intervalS: r.pick([1, 2]) } };
  },
} satisfies Record<string, (r: Random) => NightSpec>;

export type HardNight = keyof typeof HARD_NIGHTS;

export function hardNight(kind: HardNight, seed: number): NightSpec {
  return { ...HARD_NIGHTS[kind](new Random(seed * 7919 + 13)), seed };
}

function base(r: Random): NightSpec {
  const intervalS = r.pick([0.05, 0.1, 0.1, 0.2]);
  const durationS = r.pick([4, 6, 8]) * 3600;
  const baselineA = r.between(0.012, 0.06);
  const steps = Math.floor(r.between(0, 4));
  const shutDowns = Array.from({ length: steps }, (_, i) => ({
    atS: r.between(20, 3000),
    dropA: r.between(0.03, 0.3) + (i === 0 ? 0.12 : 0),
  }));
  const sleepS = Math.max(0, ...shutDowns.map((s) => s.atS));
  const periodS = Math.max(r.logBetween(0.25, 4), 2.3 * intervalS);
  const widthS = r.between(0.012, 0.06);
  const stages = Math.floor(r.between(1, 3.99));
  const second = { startS: 0.4 * durationS + r.next(), endS: (stages === 2 ? 1 : 0.75) * durationS };
  const stretches = [
    { startS: 60 + r.next(), endS: stages === 1 ? durationS : 0.4 * durationS, periodS },
    ...(stages === 1 ? [] : [{ ...second, periodS: periodS * r.pick([2, 3, r.between(1.3, 4)]) }]),
  ];
  const wakes = r.pick([0, 0, 1, 2, 6]);
  const wakeUps = Array.from({ length: wakes }, (_, i) => ({
    startS: sleepS + 300 + ((durationS - sleepS - 900) * (i + 0.2 + 0.6 * r.next())) / wakes,
    durationS: r.between(6, 240),
    amplitudeA: r.between(0.08, 0.5),
  }));
  const jitter = r.pick([1e-4, 1e-4, 0]);
  return {
    seed: 0,
    durationS,
    baselineA,
    shutDowns,
    trains: [
      { widthS, jitter, amplitudeA: (1.4 * baselineA * intervalS) / widthS + r.between(0.1, 0.6), stretches },
    ],
    wakeUps,
    current: { intervalS, resolution: 1e-4, noise: r.logBetween(1e-4, 1.5e-3) },
    voltage: { intervalS: 0.5, resolution: 1e-3, noise: 1e-3 },
    battery: {
      restVoltageV: r.between(11.9, 12.75),
      sourceResistanceOhm: r.between(0.008, 0.04),
      surfaceChargeV: r.pick([0, 0.1, 0.25]),
      surfaceTauS: r.between(1800, 5400),
    },
  };
}
