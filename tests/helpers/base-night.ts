import type { MeterSpec, NightSpec } from './nights.ts';
import type { Random } from './random.ts';

/** The evening that hard nights are variations of: steps, one train in up to two stages, some wake-ups, a battery. */
export function baseNight(r: Random, meter: Partial<MeterSpec> = {}): NightSpec {
  const intervalS = meter.intervalS ?? r.pick([0.05, 0.1, 0.1, 0.2]);
  const durationS = r.pick([4, 6, 8]) * 3600;
  const baselineA = r.between(0.012, 0.06);
  const steps = Math.floor(r.between(0, 4));
  const shutDowns = Array.from({ length: steps }, (_, i) => ({
    atS: r.between(20, 3000),
    dropA: r.between(0.03, 0.3) + (i === 0 ? 0.12 : 0),
  }));
  const sleepS = Math.max(0, ...shutDowns.map((s) => s.atS));
  const drawnS = r.logBetween(0.25, 4);
  // Nearly in step where it would be too fast; two quartz clocks are never quite so.
  const periodS = Math.max(drawnS, 2.3 * intervalS * (1 + 1e-5 * drawnS));
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
  const amplitudeA = clearAmplitude(baselineA, intervalS, widthS) + r.between(0.1, 0.6);
  return {
    seed: 0,
    durationS,
    baselineA,
    shutDowns,
    trains: [{ widthS, jitter, amplitudeA, stretches }],
    wakeUps,
    current: { intervalS, resolution: 1e-4, noise: r.logBetween(1e-4, 1.5e-3), ...meter },
    voltage: { intervalS: 0.5, resolution: 1e-3, noise: 1e-3 },
    battery: {
      restVoltageV: r.between(11.9, 12.75),
      sourceResistanceOhm: r.between(0.008, 0.04),
      surfaceChargeV: r.pick([0, 0.1, 0.25]),
      surfaceTauS: r.between(1800, 5400),
      ...chemistryOf(r),
    },
  };
}

function chemistryOf(r: Random): { chemistry?: 'flooded' | 'agm' | 'gel' } {
  const chemistry = r.pick([undefined, 'flooded', 'agm', 'gel'] as const);
  return chemistry === undefined ? {} : { chemistry };
}

/** Pulses of this height carry more charge than the floor over a reading: no faster train could hide in it. */
export function clearAmplitude(baselineA: number, intervalS: number, widthS: number): number {
  return (1.4 * baselineA * intervalS) / widthS;
}
