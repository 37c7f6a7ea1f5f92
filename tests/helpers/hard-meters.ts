import { baseNight, clearAmplitude } from './base-night.ts';
import type { NightSpec } from './nights.ts';
import type { Random } from './random.ts';

/** Nights that are hard for the meter's sake. */
export const HARD_METERS = {
  clear: (r: Random) => baseNight(r),
  noisy: (r: Random) => baseNight(r, { noise: r.between(2e-3, 6e-3) }),
  oneMilliamp: (r: Random) => baseNight(r, { resolution: 1e-3 }),
  tenMilliamps: (r: Random) => baseNight(r, { resolution: 1e-2 }),
  /** 50 to 200 readings a second, pulses from 8 ms. */
  fast: (r: Random) => {
    const intervalS = r.pick([0.005, 0.01, 0.02]);
    const night = baseNight(r, { intervalS, noise: 1e-3 });
    const stretch = { startS: 60 + r.next(), endS: 3600, periodS: r.logBetween(0.25, 3) };
    return {
      ...night,
      durationS: 3600,
      shutDowns: [{ atS: r.between(60, 900), dropA: 0.3 }],
      trains: [{ widthS: r.between(0.008, 0.1), amplitudeA: r.between(0.1, 0.6), stretches: [stretch] }],
      wakeUps: [],
    };
  },
  /** Two readings a second down to one in two seconds, with trains that they can time. */
  slow: (r: Random) => baseNight(r, { intervalS: r.pick([0.5, 1, 2]) }),
  radio: (r: Random) => {
    const intervalS = r.pick([0.05, 0.1, 0.1, 0.2]);
    const night = baseNight(r, { intervalS });
    const bunchS = r.next() < 0.5 ? { bunchS: r.pick([2, 4]) * intervalS } : {};
    return withMeter(night, {
      radioJitterS: r.between(0.1, 0.8) * intervalS,
      lossFraction: 0.03,
      dropouts: [{ startS: 0.6 * night.durationS, endS: 0.6 * night.durationS + 1200 }],
      ...bunchS,
    });
  },
  /** The radio takes turns of 30 ms, and a busy computer holds readings up every few seconds. */
  heldUp: (r: Random) => {
    const intervalS = r.pick([0.05, 0.1, 0.125, 0.25]);
    const night = baseNight(r, { intervalS });
    const stalls = { everyS: r.between(1, 10), longestS: r.pick([1, 4, 16]) * intervalS };
    return withMeter(night, { bunchS: 0.03, radioJitterS: 0.003, heldUp: stalls });
  },
  /** Apertures from 5 ms to half a second that leave part of the time unmeasured. */
  deadTime: (r: Random) => {
    const intervalS = r.pick([0.02, 0.1, 0.25, 0.4, 1]);
    const apertureS = Math.min(0.5, Math.max(0.005, intervalS * r.between(0.25, 0.6)));
    const night = baseNight(r, { intervalS, apertureS });
    return { ...night, trains: night.trains!.map((t) => ({ ...t, widthS: Math.max(t.widthS, 0.02) })) };
  },
  /** An offset that comes and goes with the night's temperature. */
  drifting: (r: Random) => baseNight(r, { offsetDrift: r.between(1e-3, 4e-3) }),
  /** Ranges change while the car is awake and at wake-ups; the pulses stay within the lower range. */
  autoRange: (r: Random) => {
    const night = baseNight(r);
    const meter = night.current!;
    const train = night.trains![0]!;
    const pulse = (train.amplitudeA * train.widthS) / meter.intervalS;
    const aboveA = 1.1 * (night.baselineA + pulse) + 10 * meter.noise + 0.02;
    const high = { startS: 0.5 * night.durationS, durationS: 90, amplitudeA: aboveA + 0.2 };
    return {
      ...withMeter(night, { autoRange: { aboveA, resolution: 1e-3 } }),
      wakeUps: [high],
      shutDowns: [{ atS: r.between(100, 2000), dropA: aboveA + r.between(0.1, 0.4) }],
    };
  },
  reversed: (r: Random) => baseNight(r, { reversed: true }),
  /** The clock that stamps the readings is set back by two seconds in mid-night. */
  clockBack: (r: Random) => {
    const night = withoutVoltage(baseNight(r));
    return withMeter(night, { clockStep: { atS: 0.7 * night.durationS, stepS: -2 } });
  },
  /** Summer time: the recorder's own clock goes on evenly and the step is noted. */
  clockForward: (r: Random) => {
    const night = baseNight(r);
    return { ...night, clockSteps: [{ atS: 0.5 * night.durationS, stepS: 3600 }] };
  },
  /** A data sheet's limits, told, and errors that lie anywhere within them. */
  stated: (r: Random) =>
    baseNight(r, {
      accuracy: { percent: 1, digits: 5 },
      gain: 1 + 0.01 * r.between(-1, 1),
      offset: 5e-4 * r.between(-1, 1),
    }),
  currentOnly: (r: Random) => withoutVoltage(baseNight(r)),
  /** No clamp: polling shows as dips of a few millivolts in the voltage alone. */
  dips: (r: Random) => {
    const night = without(baseNight(r, { intervalS: 0.05 }), 'current');
    const intervalS = r.pick([0.02, 0.05]);
    const sourceResistanceOhm = r.between(0.015, 0.04);
    const widthS = r.between(0.05, 0.2);
    const periodS = r.logBetween(0.4, 4);
    const dipV = r.between(3e-3, 8e-3);
    const stretch = { startS: 60 + r.next(), endS: night.durationS, periodS };
    return {
      ...night,
      shutDowns: night.shutDowns!.filter((s) => s.atS > 120),
      trains: [{ widthS, amplitudeA: dipV / sourceResistanceOhm, stretches: [stretch] }],
      voltage: { intervalS, resolution: r.pick([1e-4, 1e-3]), noise: r.between(3e-4, 1e-3) },
      battery: { ...night.battery!, sourceResistanceOhm },
    };
  },
  /** The dips drown in the last digit and the noise, and only folding shows them. */
  hiddenDips: (r: Random) => {
    const night = HARD_METERS.dips(r) as NightSpec;
    const train = night.trains![0]!;
    return {
      ...night,
      voltage: { ...night.voltage!, resolution: 1e-3, noise: 2e-3 },
      trains: [{ ...train, widthS: Math.max(0.1, train.widthS) }],
    };
  },
  /** Sampling as fast or slow as any, each with a train that its readings can hold. */
  anyRate: (r: Random) => {
    const intervalS = r.logBetween(0.02, 2);
    const night = baseNight(r, { intervalS });
    const widthS = Math.min(1, r.logBetween(0.008, 1), 0.3 * night.trains![0]!.stretches[0]!.periodS);
    const amplitudeA = clearAmplitude(night.baselineA, intervalS, widthS) + 0.05 * (intervalS / widthS);
    return { ...night, trains: [{ ...night.trains![0]!, widthS, amplitudeA }] };
  },
} satisfies Record<string, (r: Random) => NightSpec>;

function withMeter(night: NightSpec, change: Partial<NonNullable<NightSpec['current']>>): NightSpec {
  return { ...night, current: { ...night.current!, ...change } };
}

function withoutVoltage(night: NightSpec): NightSpec {
  return without(without(night, 'voltage'), 'battery');
}

function without(night: NightSpec, key: 'current' | 'voltage' | 'battery'): NightSpec {
  return Object.fromEntries(Object.entries(night).filter(([k]) => k !== key)) as unknown as NightSpec;
}
