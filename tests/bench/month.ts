import { seeded } from '../helpers/seeded.ts';

export interface Month {
  /** Whole milliseconds, from 0. */
  readonly t: Float64Array;
  /** Milliamperes. */
  readonly current: Float64Array;
  /** Millivolts. */
  readonly voltage: Float64Array;
}

export interface MonthOptions {
  readonly intervalMs: number;
  /** The radio delivers a reading so much late at most, evenly spread. */
  readonly jitterMs: number;
}

/**
 * Readings of a parked car as two meters' displays show them, 1 mA and 1 mV a count: shut-down steps in the first
 * half hour, a settled baseline with polling pulses (every 0.8 s, from the fourth day on every 2.4 s), a wake-up every two hours or so, a battery
 * that relaxes, and noise of less than a count. The meter's clock is 20 ppm off and drifts.
 */
export function month(instants: number, seed: number, options: Partial<MonthOptions> = {}): Month {
  const { intervalMs, jitterMs } = { intervalMs: 100, jitterMs: 30, ...options };
  const random = seeded(seed);
  const normal = () => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
  const t = new Float64Array(instants);
  const current = new Float64Array(instants);
  const voltage = new Float64Array(instants);
  let clock = 0;
  let wakeUntil = 0;
  for (let i = 0; i < instants; i++) {
    clock += intervalMs * (1 + 20e-6 + 5e-6 * Math.sin(i / 300_000));
    t[i] = Math.max(i === 0 ? 0 : t[i - 1]!, Math.floor(clock + random() * jitterMs));
    const s = clock / 1000;
    let mA = 21.4 + 480 * (s < 95 ? 1 : s < 610 ? 0.4 : s < 1500 ? 0.11 : 0);
    if (s > 1500) mA += pulse(s, s < 3 * 86_400 ? 0.8 : 2.4, intervalMs / 1000);
    if (s > 1500 && random() < intervalMs / 7_200_000) wakeUntil = s + 5 + 30 * random();
    if (s < wakeUntil) mA += 1900;
    current[i] = Math.round(mA + 0.6 * normal());
    const rest = 12_450 + 230 * Math.exp(-s / 9000) - s * 9e-5;
    voltage[i] = Math.round(rest - mA * 0.012 + 0.5 * normal());
  }
  return { t, current, voltage };
}

/** A pulse of 180 mA and 60 ms every `period`, averaged over the `aperture` that ends at `s`; all in seconds. */
function pulse(s: number, period: number, aperture: number): number {
  const since = s % period;
  const inside = Math.min(0.06, since) - Math.max(0, since - aperture);
  return inside > 0 ? (180 * inside) / aperture : 0;
}
