import { fitLine } from './statistics.ts';

const KEEP = 128;
const REFIT = 8;

/**
 * A clock fitted to the last pulses it was given. A reading says when its pulse was only to within the
 * reading's length, so times may sit still against the clock for many pulses and then jump by a whole
 * reading; until the residuals have filled that width, as much slack is allowed as they have left open.
 */
export class PulseClock {
  slot = 0;
  /** Fitted, not observed, time of the last pulse. */
  lastS: number;
  private slots: number[] = [0];
  private times: number[];
  private spread = 0;

  constructor(
    anchorS: number,
    public periodS: number,
    private readonly toleranceS: number,
    /** Periods over which the given one is better than what the first pulses would make of it. */
    private readonly knownFor = 0,
  ) {
    this.lastS = anchorS;
    this.times = [anchorS];
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
    this.slots.push(this.slot);
    this.times.push(timeS);
    const n = this.slots.length;
    if (n > 2 * KEEP) {
      this.slots = this.slots.slice(n - KEEP);
      this.times = this.times.slice(n - KEEP);
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
    return fitLine(this.slots, this.times)?.residualDeviation ?? Infinity;
  }

  private refit(): void {
    const fit = fitLine(this.slots, this.times)!;
    this.periodS = fit.slope;
    this.lastS = fit.intercept + fit.slope * this.slot;
    let spread = 0;
    for (let i = 0; i < this.slots.length; i++)
      spread = Math.max(spread, Math.abs(this.times[i]! - fit.intercept - fit.slope * this.slots[i]!));
    this.spread = spread;
  }
}
