import { uniformAt, type Stream } from './random.ts';

/**
 * Loads whose current is piecewise constant in time, each with its exact integral, so that what a meter
 * averages over its aperture is computed and never sampled. Seconds, amperes, coulombs.
 */
export interface Load {
  currentA(atS: number): number;
  /** Charge drawn since the beginning. */
  chargeC(atS: number): number;
}

/** One stretch of constant current; stretches in a list follow each other. */
export interface Segment {
  readonly durationS: number;
  readonly currentA: number;
}

export function durationOf(segments: readonly Segment[]): number {
  return segments.reduce((sum, s) => sum + s.durationS, 0);
}

export function chargeOf(segments: readonly Segment[]): number {
  return segments.reduce((sum, s) => sum + s.durationS * s.currentA, 0);
}

export function peakOf(segments: readonly Segment[]): number {
  return Math.max(0, ...segments.map((s) => s.currentA));
}

/** A sum of rectangular loads, to which more can be added while it runs. Before time 0 it draws nothing. */
export class StepLoad implements Load {
  /** From time[i] on the current is level[i]; charge[i] was drawn until then. */
  private readonly time: number[] = [0];
  private readonly level: number[] = [0];
  private readonly charge: number[] = [0];
  private cursor = 0;

  /** Adds segments one after the other from `startS` (0 or later); the last one may last for ever. */
  add(startS: number, segments: readonly Segment[]): void {
    let at = startS;
    for (const { durationS, currentA } of segments) {
      const first = this.breakAt(at);
      at += durationS;
      const last = Number.isFinite(at) ? this.breakAt(at) : this.time.length;
      for (let i = first; i < last; i++) this.level[i]! += currentA;
      for (let i = first + 1; i < this.time.length; i++) {
        this.charge[i] = this.charge[i - 1]! + this.level[i - 1]! * (this.time[i]! - this.time[i - 1]!);
      }
    }
  }

  currentA(atS: number): number {
    return atS < 0 ? 0 : this.level[this.find(atS)]!;
  }

  chargeC(atS: number): number {
    if (atS <= 0) return 0;
    const i = this.find(atS);
    return this.charge[i]! + this.level[i]! * (atS - this.time[i]!);
  }

  /** The index of a break at exactly this time; made where there is none. */
  private breakAt(atS: number): number {
    const i = this.find(atS);
    if (this.time[i] === atS) return i;
    const charge = this.chargeC(atS);
    this.time.splice(i + 1, 0, atS);
    this.level.splice(i + 1, 0, this.level[i]!);
    this.charge.splice(i + 1, 0, charge);
    return i + 1;
  }

  /** The last break at or before a time. Meters ask in order of time, so the last answer is tried first. */
  private find(atS: number): number {
    const { time } = this;
    let low = Math.min(this.cursor, time.length - 1);
    let high = low + 2;
    if (time[low]! > atS) [low, high] = [0, low];
    else if (high < time.length && time[high]! <= atS) [low, high] = [high, time.length];
    else high = Math.min(high, time.length);
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (time[middle]! <= atS) low = middle;
      else high = middle;
    }
    this.cursor = low;
    return low;
  }
}

/** Equal pulses on a fixed clock: pulse k starts at `startS` + k x `periodS`, delayed by a part of `jitterS`. */
export interface TrainSpec {
  readonly startS: number;
  /** No pulse starts at or after this time; Infinity for a train that goes on. */
  readonly endS: number;
  readonly periodS: number;
  /** A burst of several pulses is written with segments of zero current in between. */
  readonly shape: readonly Segment[];
  /** Each pulse is late by a uniform share of this. Shape and jitter together fit into the period. */
  readonly jitterS: number;
}

export class PulseTrain implements Load {
  readonly chargePerPulseC: number;
  private readonly lengthS: number;
  private readonly count: number;

  constructor(
    readonly spec: TrainSpec,
    private readonly stream: Stream,
  ) {
    this.chargePerPulseC = chargeOf(spec.shape);
    this.lengthS = durationOf(spec.shape);
    if (this.lengthS + spec.jitterS > spec.periodS) throw new RangeError('a pulse is longer than its period');
    this.count = this.slotsUntil(spec.endS);
  }

  /** How many pulses have been due to start before a time. */
  startedBefore(atS: number): number {
    return Math.min(this.count, this.slotsUntil(atS));
  }

  currentA(atS: number): number {
    const slot = this.slotAt(atS);
    if (slot < 0 || slot >= this.count) return 0;
    let phase = this.phaseIn(slot, atS);
    if (phase < 0) return 0;
    for (const s of this.spec.shape) {
      if (phase < s.durationS) return s.currentA;
      phase -= s.durationS;
    }
    return 0;
  }

  chargeC(atS: number): number {
    const slot = this.slotAt(atS);
    if (slot < 0) return 0;
    if (slot >= this.count) return this.count * this.chargePerPulseC;
    let phase = this.phaseIn(slot, atS);
    let charge = slot * this.chargePerPulseC;
    for (const s of this.spec.shape) {
      if (phase <= 0) break;
      charge += Math.min(phase, s.durationS) * s.currentA;
      phase -= s.durationS;
    }
    return charge;
  }

  private slotAt(atS: number): number {
    return Math.floor((atS - this.spec.startS) / this.spec.periodS);
  }

  private slotsUntil(atS: number): number {
    // A billionth of a period of grace: 3 / 0.3 must not count an eleventh pulse for a rounding error.
    return Math.max(0, Math.ceil((atS - this.spec.startS) / this.spec.periodS - 1e-9));
  }

  private phaseIn(slot: number, atS: number): number {
    const { startS, periodS, jitterS } = this.spec;
    const late = jitterS === 0 ? 0 : jitterS * uniformAt(this.stream, slot);
    return atS - (startS + slot * periodS + late);
  }
}
