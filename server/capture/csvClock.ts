import type { RecordingEvent } from '../messages/records.ts';
import { NumberColumn } from '../samples/builder.ts';

/** So many steps, or late readings of so large a part of the rows, are no clock and no radio. */
const MOST_STEPS = 100;
const MOST_LATE = 100;
const LATE_PART = 0.05;
/** More late readings than this are not kept, whatever their part. */
const MOST_LATE_KEPT = 1 << 22;

/** How many rows are looked at to tell a late reading from a step. */
export const LOOK_AHEAD = 3;

/** So many intervals settle what the usual one is. */
const INTERVALS_SEEN = 1 << 20;

/** The median interval between a file's rows, of those that go forward. */
export class UsualInterval {
  private readonly seen = new NumberColumn();
  private last = NaN;
  private count = 0;

  /** Takes the times of the next rows; false when no more are needed. */
  add(t: Float64Array): boolean {
    for (const x of t) {
      if (x > this.last && this.count < INTERVALS_SEEN) {
        this.seen.push(x - this.last);
        this.count++;
      }
      this.last = x;
    }
    return this.count < INTERVALS_SEEN;
  }

  get ms(): number {
    const sorted = this.seen.values().slice().sort();
    return sorted[sorted.length >> 1] ?? 0;
  }
}

/**
 * Brings the times of a file's rows onto a clock that never goes back. Where the file's clock was set back, what
 * follows goes on one usual interval after the row before it, and the step is an event. A reading that merely
 * arrived late keeps its time. A step forward cannot be told from a gap and stays one.
 */
export class Straightener {
  readonly steps: RecordingEvent[] = [];
  private latest = -Infinity;
  private shift = 0;
  private rows = 0;
  private lateRows = 0;
  /** Lines of the late rows, and the line of the step that was one too many. */
  private readonly lateLines = new NumberColumn();
  private tooManyAt = Infinity;

  constructor(readonly usual: number) {}

  /**
   * The times of the next rows, straight, and for each row whether it arrived late.
   * @param t milliseconds as the file has them
   * @param after the first rows after these, at least LOOK_AHEAD where there are so many
   */
  straighten(
    t: Float64Array,
    lines: Float64Array,
    after: Float64Array,
  ): { t: Float64Array; late: Uint8Array } {
    const out = new Float64Array(t.length);
    const late = new Uint8Array(t.length);
    const timeAt = (row: number) => (row < t.length ? t[row] : after[row - t.length]);
    this.rows += t.length;
    for (let row = 0; row < t.length; row++) {
      const straight = t[row]! + this.shift;
      if (straight >= this.latest) {
        this.latest = out[row] = straight;
      } else if (this.isLate(timeAt, row)) {
        out[row] = straight;
        late[row] = 1;
        if (this.lateRows++ < MOST_LATE_KEPT) this.lateLines.push(lines[row]!);
      } else {
        this.latest = out[row] = this.step(straight, lines[row]!);
        this.shift = this.latest - t[row]!;
      }
    }
    return { t: out, late };
  }

  /** Whether the times never went back. */
  get isNeedless(): boolean {
    return this.lateRows === 0 && this.steps.length === 0;
  }

  /** Once all rows were seen: the line from which on they are plainly in no order, or null. */
  get disorderAt(): number | null {
    const most = Math.min(Math.max(MOST_LATE, LATE_PART * this.rows), MOST_LATE_KEPT - 1);
    const first = Math.min(this.lateLines.values()[Math.floor(most)] ?? Infinity, this.tooManyAt);
    return first === Infinity ? null : first;
  }

  private step(straight: number, line: number): number {
    const atMs = this.latest + this.usual;
    const size = straight - this.latest - this.usual;
    if (this.steps.length === MOST_STEPS) this.tooManyAt = Math.min(this.tooManyAt, line);
    else {
      const text = `The clock was set back by ${(-size / 1000).toFixed(1)} s.`;
      this.steps.push({ atMs, kind: 'clock-step', text, value: size });
    }
    return atMs;
  }

  /** Late: by less than half an interval, or the rows after it go on from the latest time, not from this one. */
  private isLate(timeAt: (row: number) => number | undefined, row: number): boolean {
    const here = timeAt(row)!;
    const latest = this.latest - this.shift;
    if (latest - here <= this.usual / 2) return true;
    for (let k = 1; k <= LOOK_AHEAD; k++) {
      const then = timeAt(row + k);
      if (then !== undefined && then >= latest && then - here > (k + 0.5) * this.usual) return true;
    }
    return false;
  }
}
