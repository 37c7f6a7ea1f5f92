import type { RecordingEvent } from '../messages/records.ts';
import type { SampleColumns } from '../samples/columns.ts';

/**
 * Brings the times of a file's rows onto a clock that never goes back. Where the file's clock was set back, what
 * follows goes on one usual interval after the row before it, and the step is an event. A reading that merely
 * arrived late keeps its time. A step forward cannot be told from a gap and stays one.
 */
export interface StraightTimes {
  /** For each row its time, ms. */
  readonly t: Float64Array;
  readonly steps: readonly { readonly row: number; readonly event: RecordingEvent }[];
  /** The row from which on the rows are plainly in no order, or null. */
  readonly disorderAt: number | null;
}

/** So many steps, or late readings of so large a part of the rows, are no clock and no radio. */
const MOST_STEPS = 100;
const MOST_LATE = 100;
const LATE_PART = 0.05;

/** How many rows are looked at to tell a late reading from a step. */
const LOOK_AHEAD = 3;

export function straighten(fileMs: Float64Array): StraightTimes {
  const t = fileMs.slice();
  const steps: { row: number; event: RecordingEvent }[] = [];
  if (!goesBack(t)) return { t, steps, disorderAt: null };
  const usual = usualInterval(t);
  const mostLate = Math.max(MOST_LATE, LATE_PART * t.length);
  let late = 0;
  let shift = 0;
  let latest = -Infinity;
  for (let row = 0; row < t.length; row++) {
    t[row] = fileMs[row]! + shift;
    if (t[row]! >= latest) {
      latest = t[row]!;
    } else if (isLate(fileMs, row, latest - shift, usual)) {
      late++;
    } else {
      const size = t[row]! - latest - usual;
      latest = t[row] = latest + usual;
      shift = latest - fileMs[row]!;
      const text = `The clock was set back by ${(-size / 1000).toFixed(1)} s.`;
      steps.push({ row, event: { atMs: latest, kind: 'clock-step', text, value: size } });
    }
    if (late > mostLate || steps.length > MOST_STEPS) return { t, steps, disorderAt: row };
  }
  return { t, steps, disorderAt: null };
}

function goesBack(t: Float64Array): boolean {
  for (let i = 1; i < t.length; i++) if (t[i]! < t[i - 1]!) return true;
  return false;
}

function usualInterval(t: Float64Array): number {
  const forward = t.subarray(1).map((x, i) => x - t[i]!);
  const sorted = forward.filter((x) => x > 0).sort();
  return sorted[sorted.length >> 1] ?? 0;
}

/** Late: by less than half an interval, or the rows after it go on from the latest time, not from this one. */
function isLate(fileMs: Float64Array, row: number, latest: number, usual: number): boolean {
  const here = fileMs[row]!;
  if (latest - here <= usual / 2) return true;
  for (let k = 1; k <= LOOK_AHEAD && row + k < fileMs.length; k++) {
    const then = fileMs[row + k]!;
    if (then >= latest && then - here > (k + 0.5) * usual) return true;
  }
  return false;
}

/** Samples whose `t` is a row number, with the rows' times instead; late ones put where their time says if `sorted`. */
export function onTimes(c: SampleColumns, rowMs: Float64Array, sorted: boolean): SampleColumns {
  const t = c.t.map((row) => rowMs[row]!);
  if (!sorted || !goesBack(t)) return { ...c, t };
  const order = Uint32Array.from(t, (_, i) => i).sort((a, b) => t[a]! - t[b]! || a - b);
  return {
    length: c.length,
    t: Float64Array.from(order, (i) => t[i]!),
    counts: Float64Array.from(order, (i) => c.counts[i]!),
    scale: Int8Array.from(order, (i) => c.scale[i]!),
    flags: Uint16Array.from(order, (i) => c.flags[i]!),
  };
}
