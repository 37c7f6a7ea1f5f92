import { lowerBound, type Conditioned } from './condition.ts';

/**
 * The load between two times as the charge that has flowed, from readings that are means over their aperture.
 * Where a reading lies between its two neighbours, a step fell into it, and it says where: a tenth of the way up
 * means in the last tenth of its time. That resolves a step to less than the time of one reading.
 */
export class LoadCurve {
  private readonly at: number[] = [];
  private readonly charge: number[] = [];
  private cursor = 0;

  /** `noise` of one reading, amperes: what lies between its neighbours by less is no step. */
  constructor(
    current: Conditioned,
    fromS: number,
    toS: number,
    private readonly noise: number,
  ) {
    const { t, y } = current;
    const interval = current.intervalS ?? 1;
    const aperture = current.apertureS ?? interval;
    // A meter that averages over more than one interval shows each one late, by half of what is more.
    const lateS = Math.max(0, aperture - interval) / 2;
    const width = Math.min(aperture, interval);
    const from = Math.max(1, lowerBound(t, fromS) - 1);
    const to = Math.min(t.length - 1, lowerBound(t, toS + 2 * interval));
    for (let i = from; i < to; i++) {
      const end = t[i]! - lateS;
      const before = t[i - 1]! - lateS;
      // Back-to-back conversions leave no time between them, however unevenly they arrive.
      const begin = width > BACK_TO_BACK * interval && end - before < 1.5 * interval ? before : end - width;
      if (this.at.length === 0) this.start(begin);
      this.between(begin, y[i - 1]!, y[i]!);
      const share = this.shareOf(y[i - 1]!, y[i]!, y[i + 1]!);
      if (share !== null) {
        const kink = end - share * (end - begin);
        this.flow(kink, y[i - 1]!);
        this.flow(end, y[i + 1]!);
      } else this.flow(end, y[i]!);
    }
  }

  get startS(): number {
    return this.at[0] ?? Infinity;
  }

  get endS(): number {
    return this.at[this.at.length - 1] ?? -Infinity;
  }

  /** Coulombs from the start to `t`, which lies inside; quick where calls go on from the one before. */
  chargeAt(t: number): number {
    const { at, charge } = this;
    let k = this.cursor;
    while (k + 2 < at.length && at[k + 1]! <= t) k++;
    while (k > 0 && at[k]! > t) k--;
    this.cursor = k;
    const width = at[k + 1]! - at[k]!;
    const share = width > 0 ? (t - at[k]!) / width : 0;
    return charge[k]! + share * (charge[k + 1]! - charge[k]!);
  }

  private start(t: number): void {
    this.at.push(t);
    this.charge.push(0);
  }

  private flow(to: number, amps: number): void {
    const last = this.at.length - 1;
    const width = to - this.at[last]!;
    if (width <= 0) return;
    this.at.push(to);
    this.charge.push(this.charge[last]! + amps * width);
  }

  /** Nobody measured from the last reading's end to this one's begin: each stands for half of it. */
  private between(begin: number, before: number, after: number): void {
    const since = this.at[this.at.length - 1]!;
    if (begin <= since) return;
    this.flow((since + begin) / 2, before);
    this.flow(begin, after);
  }

  /** Which share of a reading's time came after the step that fell into it; null where none did. */
  private shareOf(before: number, here: number, after: number): number | null {
    const step = after - before;
    if (Math.abs(step) < STEP_DEVIATIONS * this.noise) return null;
    const share = (here - before) / step;
    return share > 0 && share < 1 ? share : null;
  }
}

const BACK_TO_BACK = 0.9;
const STEP_DEVIATIONS = 8;
