import { baseNight } from './base-night.ts';
import { HARD_METERS } from './hard-meters.ts';
import type { MeterSpec, NightSpec } from './nights.ts';
import { Random } from './random.ts';

/** Kinds of hard night, each drawn at random from a seed; every one has exact truth. */
export const HARD_NIGHTS = {
  ...HARD_METERS,
  quiet: (r: Random) => ({ ...baseNight(r), trains: [], wakeUps: [] }),
  slowQuiet: (r: Random) => ({ ...baseNight(r, { intervalS: r.pick([1, 2]) }), trains: [] }),
  oscillator: (r: Random) => {
    const night = baseNight(r);
    return { ...night, trains: night.trains!.map((t) => ({ ...t, jitter: 1e-4, drift: 1e-5 })) };
  },
  /** A fixed clock whose pulses come a little early or late. */
  fixedClock: (r: Random) => {
    const night = baseNight(r);
    return {
      ...night,
      trains: night.trains!.map((t) => ({ ...t, jitter: 0, whiteJitterS: r.between(1e-3, 0.01) })),
    };
  },
  burst: (r: Random) => {
    const night = baseNight(r);
    return {
      ...night,
      trains: night.trains!.map((t) => ({
        ...t,
        burst: { pulses: 3, spacingS: Math.min(r.between(0.03, 0.12), t.stretches[0]!.periodS / 8) },
      })),
    };
  },
  /** Stretched twice, then stopped. */
  stretchedTwice: (r: Random) => {
    const night = baseNight(r);
    const first = night.trains![0]!.stretches[0]!.periodS;
    const ends = [0.3, 0.55, 0.8].map((share) => share * night.durationS);
    const periods = [first, first * r.pick([2, 3]), first * r.pick([5, 6, 9])];
    const stretches = periods.map((periodS, i) => ({
      startS: (i === 0 ? 60 : ends[i - 1]!) + r.next(),
      endS: ends[i]!,
      periodS,
    }));
    return { ...night, trains: [{ ...night.trains![0]!, stretches }] };
  },
  twoTrains: (r: Random) => {
    const night = baseNight(r);
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
    const night = baseNight(r);
    const stretch = { startS: 60 + r.next(), endS: 12 * 3600, periodS: r.logBetween(60, 7200) };
    return {
      ...night,
      durationS: 12 * 3600,
      trains: [{ widthS: r.between(0.1, 1), amplitudeA: r.between(0.4, 1), stretches: [stretch] }],
    };
  },
  /** A pulse of a few milliamperes under 6 mA of noise. */
  weak: (r: Random) => {
    const night = baseNight(r, { intervalS: r.pick([0.02, 0.05]), noise: 6e-3 });
    const stretch = { startS: 60 + r.next(), endS: 8 * 3600, periodS: r.logBetween(0.5, 5) };
    return {
      ...night,
      durationS: 8 * 3600,
      wakeUps: [],
      trains: [{ widthS: r.between(0.1, 0.3), amplitudeA: r.between(3e-3, 6e-3), stretches: [stretch] }],
    };
  },
  tooFast: (r: Random) => {
    const intervalS = r.pick([0.333, 0.4, 0.5, 1]);
    const night = baseNight(r, { intervalS, noise: 3e-4 });
    const periodS = r.pick([0.25, 0.3, 0.6]) * (1 + 1e-3 * (r.next() - 0.5));
    const stretch = { startS: 60 + r.next(), endS: night.durationS, periodS };
    return {
      ...night,
      trains: [{ widthS: 0.02, amplitudeA: r.between(0.2, 0.6), stretches: [stretch] }],
    };
  },
  asleepFromStart: (r: Random) => ({ ...baseNight(r), shutDowns: [] }),
  neverSleeps: (r: Random) => ({
    ...baseNight(r),
    baselineA: r.between(0.2, 0.9),
    shutDowns: [],
    trains: [],
    wakeUps: [],
  }),
  /** The search gives up after ten minutes with the fob within reach. */
  fobInRange: (r: Random) => {
    const night = baseNight(r);
    const train = night.trains![0]!;
    const startS = 60 + r.next();
    const stretch = { startS, endS: startS + r.between(580, 640), periodS: train.stretches[0]!.periodS };
    // Awake, the loads of the shut-down could hide faster pulses: it sleeps before the search begins.
    const shutDowns = [{ atS: r.between(20, 50), dropA: 0.2 }];
    return { ...night, shutDowns, trains: [{ ...train, stretches: [stretch] }] };
  },
  charger: (r: Random) => {
    const night = baseNight(r);
    return {
      ...night,
      wakeUps: [],
      charger: { startS: -1, endS: r.between(1200, 3600), currentA: r.between(0.5, 4), liftV: 1.2 },
      shutDowns: [{ atS: r.between(60, 900), dropA: 0.3 }],
    };
  },
  /** Two minutes of a car that sleeps. */
  short: (r: Random) => {
    const night = baseNight(r);
    const train = night.trains![0]!;
    const stretch = { startS: r.next(), endS: 120, periodS: train.stretches[0]!.periodS };
    return {
      ...night,
      durationS: 120,
      shutDowns: [],
      wakeUps: [],
      trains: [{ ...train, stretches: [stretch] }],
      battery: { ...night.battery!, surfaceChargeV: 0 },
    };
  },
  /** Thirty days at one reading in two seconds, polling that slows down after five. */
  month: (r: Random) => {
    const durationS = 30 * 86_400;
    const meter: MeterSpec = { intervalS: 2, resolution: 1e-3, noise: 6e-4 };
    const night = baseNight(r, meter);
    const periodS = r.between(6, 30);
    const amplitudeA = 1.4 * night.baselineA * (2 / 0.4) + 0.1;
    const day5 = 5 * 86_400;
    const stretches = [
      { startS: 60 + r.next(), endS: day5, periodS },
      { startS: day5 + r.next(), endS: 14 * 86_400, periodS: 3 * periodS },
    ];
    return {
      ...night,
      durationS,
      trains: [{ widthS: 0.4, amplitudeA, jitter: 1e-4, stretches }],
      wakeUps: [1, 2, 3].map((k) => ({ startS: k * 7.1 * 86_400, durationS: 300, amplitudeA: 0.4 })),
      voltage: { intervalS: 60, apertureS: 0.5, resolution: 1e-3, noise: 1e-3 },
    };
  },
} satisfies Record<string, (r: Random) => NightSpec>;

export type HardNight = keyof typeof HARD_NIGHTS;
export const HARD_NIGHT_KINDS = Object.keys(HARD_NIGHTS) as HardNight[];

export function hardNight(kind: HardNight, seed: number): NightSpec {
  let own = 13;
  for (const letter of kind) own = (own * 31 + letter.charCodeAt(0)) % 1_000_003;
  return { ...HARD_NIGHTS[kind](new Random(seed * 7919 + own)), seed: seed * 101 + own };
}
