import type { Accuracy, ChannelInput } from '../../server/analysis/input.ts';
import type { Random } from './random.ts';

/** A meter that reads a seeded night: what it averages over, its errors, and how its radio delivers. */
export interface MeterSpec {
  readonly intervalS: number;
  /** Default: the interval (back-to-back conversions). */
  readonly apertureS?: number;
  readonly resolution: number;
  readonly noise: number;
  readonly offset?: number;
  /** Offset that wanders with temperature: amplitude of a half sine over the night. */
  readonly offsetDrift?: number;
  readonly gain?: number;
  /** Readings arrive late by up to this, evenly distributed. */
  readonly radioJitterS?: number;
  /** Readings arrive in bunches at multiples of this. */
  readonly bunchS?: number;
  /** Every so often (seconds, on average) nothing arrives for up to so long, then everything at once. */
  readonly heldUp?: { readonly everyS: number; readonly longestS: number };
  readonly lossFraction?: number;
  readonly dropouts?: readonly { readonly startS: number; readonly endS: number }[];
  /** Above this the meter changes range: a blank reading at each change and a coarser last digit. */
  readonly autoRange?: { readonly aboveA: number; readonly resolution: number };
  readonly reversed?: boolean;
  /** The clock that stamps the readings is set by `stepS` at `atS`, and nobody notes it. */
  readonly clockStep?: { readonly atS: number; readonly stepS: number };
  /** What the analysis is told. */
  readonly accuracy?: Accuracy;
  readonly tellAperture?: boolean;
  readonly tellResolution?: boolean;
}

/**
 * Readings of a quantity whose exact mean over the aperture that ends at `t` is `meanOver(t)`; then come
 * offset, noise and the display's last digit. `meanOver` is called with rising times.
 */
export function readings(
  quantity: 'current' | 'voltage',
  durationS: number,
  meter: MeterSpec,
  random: Random,
  meanOver: (t: number) => number,
): ChannelInput {
  const aperture = meter.apertureS ?? meter.intervalS;
  const count = Math.floor((durationS - aperture) / meter.intervalS);
  const t = new Float64Array(count + 1);
  const y = new Float64Array(count + 1);
  let n = 0;
  let arrived = -Infinity;
  let high = false;
  const released = stalls(meter.heldUp, random);
  const phase = random.next() * Math.min(meter.intervalS, durationS - aperture - count * meter.intervalS);
  for (let k = 0; k <= count; k++) {
    const at = phase + aperture + k * meter.intervalS;
    const value = meanOver(at);
    const wander = (meter.offsetDrift ?? 0) * Math.sin((Math.PI * at) / durationS);
    const noisy = value + (meter.offset ?? 0) + wander + meter.noise * random.normal();
    const late = (meter.radioJitterS ?? 0) * random.next();
    const lost = random.next() < (meter.lossFraction ?? 0);
    let digit = meter.resolution;
    if (meter.autoRange !== undefined) {
      const nowHigh = Math.abs(noisy) > meter.autoRange.aboveA;
      const changed = nowHigh !== high;
      high = nowHigh;
      if (changed) continue;
      if (high) digit = meter.autoRange.resolution;
    }
    if (lost || (meter.dropouts ?? []).some((d) => at >= d.startS && at < d.endS)) continue;
    const seen = meter.bunchS === undefined ? at + late : Math.ceil(at / meter.bunchS) * meter.bunchS + late;
    arrived = Math.max(arrived + 1e-4, seen, released(seen));
    const { clockStep } = meter;
    t[n] = arrived + (clockStep !== undefined && at >= clockStep.atS ? clockStep.stepS : 0);
    y[n] = Number((Math.round(noisy / digit) * digit).toPrecision(12));
    n++;
  }
  return {
    quantity,
    unit: quantity === 'current' ? 'A' : 'V',
    t: t.subarray(0, n),
    y: y.subarray(0, n),
    resolution: meter.tellResolution === true ? meter.resolution : null,
    apertureS: meter.tellAperture === false ? null : aperture,
    accuracy: meter.accuracy ?? null,
    gaps: [],
  };
}

/** Until when a reading that would come at some time is held up; asked with rising times. */
function stalls(spec: MeterSpec['heldUp'], random: Random): (seen: number) => number {
  if (spec === undefined) return () => -Infinity;
  const next = (after: number): { from: number; to: number } => {
    const from = after - Math.log(1 - random.next()) * spec.everyS;
    return { from, to: from + random.next() * spec.longestS };
  };
  let stall = next(0);
  return (seen) => {
    while (stall.to < seen) stall = next(stall.to);
    return seen >= stall.from ? stall.to : -Infinity;
  };
}
