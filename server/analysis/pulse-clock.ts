import { fitLine } from './statistics.ts';

const KEEP = 128;
const REFIT = 8;
const ROOM = 2 * KEEP + 1;

/**
 * A clock fitted to the last pulses it was given. A reading says when its pulse was only to within the
 * reading's length, so times may sit still against the clock for many pulses and then jump by a whole
 * reading; until the residuals have filled that width, as much slack is allowed as they have left open.
 */
export class PulseClock {
  slot = 0;
  /** Fitted, not observed, time of the last pulse. */
  lastS: number;
  private readonly slots = new Float64Array(ROOM);
  private readonly times = new Float64Array(ROOM);
  private kept = 1;
  private spread = 0;

  constructor(
    anchorS: number,
    public periodS: number,
    private readonly toleranceS: number,
    /** Periods over which the given one is better than what the first pulses would make of it. */
    private readonly knownFor = 0,
  ) {
    this.lastS = anchorS;
    this.times[0] = anchorS;
  }

  /** Periods between the last pulse and a moment, or 0 when the moment is not on the beat. */
  stepsTo(timeS: number, blurS: number): number {
    const elapsed = timeS - this.lastS;
    const steps = Math.round(elapsed / this.periodS);
    if (steps < 1) return 0;
    return Math.abs(elapsed - steps * this.periodS) <= this.slack(steps) + blurS ? steps : 0;
  }

  /** How far off a pulse that many periods on may be. */
  private slack(steps: number): number {
    const known = this.slot - this.slots[0]!;
    const open = Math.max(0.05 * this.toleranceS, this.toleranceS - this.spread);
    const near = this.toleranceS + open;
    const far = known < 1 ? 0 : (near * Math.max(0, steps - 1)) / known;
    return Math.min(near + far, 0.42 * this.periodS);
  }

  /** Whether the clock still knows which beat comes after this many periods of silence. */
  knows(steps: number): boolean {
    const known = Math.max(1, this.slot - this.slots[0]!);
    return (2 * this.toleranceS * steps) / known < 0.4 * this.periodS;
  }

  hit(steps: number, timeS: number): void {
    this.slot += steps;
    this.slots[this.kept] = this.slot;
    this.times[this.kept] = timeS;
    const n = ++this.kept;
    if (n === ROOM) {
      this.slots.copyWithin(0, n - KEEP);
      this.times.copyWithin(0, n - KEEP);
      this.kept = KEEP;
    }
    if (this.slot < this.knownFor) {
      this.lastS += steps * this.periodS;
      return;
    }
    if (n < 4) {
      this.lastS = timeS;
      this.periodS = (timeS - this.times[0]!) / this.slot;
      return;
    }
    if (n < 4 * REFIT || n % REFIT === 0) this.refit();
    else this.lastS += steps * this.periodS;
  }

  /** Root mean square of the times about the clock; Infinity below three pulses. */
  residual(): number {
    const fit = fitLine(this.slots.subarray(0, this.kept), this.times.subarray(0, this.kept));
    return fit?.residualDeviation ?? Infinity;
  }

  /** A line by least squares, about the oldest pulse: what is kept is short, and so one pass costs no digits. */
  private refit(): void {
    const { slots, times, kept } = this;
    const [slot0, time0] = [slots[0]!, times[0]!];
    let [sx, sy, sxx, sxy] = [0, 0, 0, 0];
    for (let i = 0; i < kept; i++) {
      const x = slots[i]! - slot0;
      const y = times[i]! - time0;
      sx += x;
      sy += y;
      sxx += x * x;
      sxy += x * y;
    }
    const slope = (kept * sxy - sx * sy) / (kept * sxx - sx * sx);
    const first = time0 + (sy - slope * sx) / kept;
    let spread = 0;
    for (let i = 0; i < kept; i++)
      spread = Math.max(spread, Math.abs(times[i]! - first - slope * (slots[i]! - slot0)));
    this.periodS = slope;
    this.lastS = first + slope * (this.slot - slot0);
    this.spread = spread;
  }
}
