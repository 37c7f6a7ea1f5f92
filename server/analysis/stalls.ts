/**
 * Readings that were held up together. A busy computer or a radio in trouble hands over nothing for a while and
 * then everything at once: what was taken at an even pace arrives in a heap. Where the heap makes up for the
 * wait, its readings are set evenly between their neighbours; where it is smaller, some were lost, and its
 * readings are set back from its end at the usual pace.
 */

/** Of an interval (or three times the usual unevenness, if that is more): a longer wait is a stall. */
const WAIT = 1;
const UNEVENNESS = 3;
/** A heap has ended where so many readings catch up by less than one interval. */
const LOOK_AHEAD = 4;
/** No heap is followed for longer. */
const MOST_HEAP = 100_000;

/**
 * @param t arrival, seconds, strictly rising
 * @param jitterS how unevenly readings arrive otherwise
 * @returns times as they were taken, strictly rising; `t` itself where nothing was held up
 */
export function withoutStalls(t: Float64Array, intervalS: number, jitterS: number): Float64Array {
  const wait = intervalS + Math.max(WAIT * intervalS, UNEVENNESS * jitterS);
  let out = t;
  for (let i = 1; i < t.length; i++) {
    if (t[i]! - t[i - 1]! <= wait) continue;
    const end = endOfHeap(t, i, intervalS, jitterS);
    if (end === i) continue;
    if (out === t) out = t.slice();
    spread(out, i, end, intervalS);
    i = end;
  }
  return out;
}

/** The reading at which those held up from `i` on have caught up, or catch up no more. */
function endOfHeap(t: Float64Array, i: number, intervalS: number, jitterS: number): number {
  const due = t[i - 1]! - (i - 1) * intervalS;
  const late = (k: number): number => t[k]! - due - k * intervalS;
  const enough = Math.max(jitterS, intervalS / 4);
  const most = Math.min(t.length - 1, i + MOST_HEAP);
  for (let k = i; k < most; k++) {
    if (late(k) <= enough) return k;
    if (late(k) - late(Math.min(most, k + LOOK_AHEAD)) < intervalS) return k;
  }
  return most;
}

/** Sets the readings [from, end) back to when they were taken; `end` arrived in time, or as late as may be. */
function spread(t: Float64Array, from: number, end: number, intervalS: number): void {
  const before = t[from - 1]!;
  const count = end - from + 1;
  const pace = Math.min(intervalS, (t[end]! - before) / count);
  for (let k = from; k < end; k++) t[k] = Math.min(t[k]!, t[end]! - (end - k) * pace);
}
