import type { Random } from './random.ts';

/**
 * A load's current as rectangles whose integral is known exactly. `charge(t)` is the integral from 0 to t in
 * coulombs; calls must come with rising t for each cursor, which keeps a whole night linear.
 */
export interface Rectangles {
  readonly start: Float64Array;
  readonly width: Float64Array;
  readonly height: Float64Array;
}

export class ChargeCursor {
  private index = 0;
  private before = 0;

  constructor(private readonly r: Rectangles) {}

  at(t: number): number {
    const { start, width, height } = this.r;
    while (this.index < start.length && start[this.index]! + width[this.index]! <= t) {
      this.before += width[this.index]! * height[this.index]!;
      this.index++;
    }
    let charge = this.before;
    for (let k = this.index; k < start.length && start[k]! < t; k++)
      charge += Math.min(width[k]!, t - start[k]!) * height[k]!;
    return charge;
  }
}

export interface TrainStretch {
  readonly startS: number;
  readonly endS: number;
  readonly periodS: number;
}

export interface TrainSpec {
  readonly widthS: number;
  readonly amplitudeA: number;
  readonly stretches: readonly TrainStretch[];
  /** Pulses in a burst and their spacing; a burst repeats once a period. */
  readonly burst?: { readonly pulses: number; readonly spacingS: number };
  /** Each period is off by this fraction of itself, at random (accumulating). */
  readonly jitter?: number;
  /** White jitter of each pulse on a fixed clock, seconds. */
  readonly whiteJitterS?: number;
  /** Relative change of the period over the whole night. */
  readonly drift?: number;
}

export interface TrainTruth extends TrainStretch {
  readonly pulses: number;
  readonly firstS: number;
  readonly lastS: number;
  readonly chargePerPulseC: number;
  readonly averageA: number;
}

/** Lays out a train's pulses; one truth per stretch, `pulses` counting bursts. */
export function layTrain(
  spec: TrainSpec,
  nightS: number,
  random: Random,
): { rectangles: Rectangles; truth: TrainTruth[] } {
  const starts: number[] = [];
  const truth: TrainTruth[] = [];
  const burst = spec.burst ?? { pulses: 1, spacingS: 0 };
  for (const stretch of spec.stretches) {
    let t = stretch.startS;
    let pulses = 0;
    let last = t;
    while (t < stretch.endS) {
      const at = t + (spec.whiteJitterS ?? 0) * random.normal();
      for (let k = 0; k < burst.pulses; k++) starts.push(at + k * burst.spacingS);
      pulses++;
      last = t;
      const period = stretch.periodS * (1 + ((spec.drift ?? 0) * t) / nightS);
      t += period * (1 + (spec.jitter ?? 0) * random.normal());
    }
    const chargePerPulseC = burst.pulses * spec.widthS * spec.amplitudeA;
    truth.push({
      ...stretch,
      pulses,
      firstS: stretch.startS,
      lastS: last,
      chargePerPulseC,
      averageA: (pulses * chargePerPulseC) / (stretch.endS - stretch.startS),
    });
  }
  const n = starts.length;
  return {
    rectangles: {
      start: Float64Array.from(starts).sort(),
      width: new Float64Array(n).fill(spec.widthS),
      height: new Float64Array(n).fill(spec.amplitudeA),
    },
    truth,
  };
}

export function rectangles(
  items: readonly { readonly startS: number; readonly durationS: number; readonly amplitudeA: number }[],
): Rectangles {
  const sorted = [...items].sort((a, b) => a.startS - b.startS);
  return {
    start: Float64Array.from(sorted, (i) => i.startS),
    width: Float64Array.from(sorted, (i) => i.durationS),
    height: Float64Array.from(sorted, (i) => i.amplitudeA),
  };
}
