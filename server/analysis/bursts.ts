import type { Pulses } from './pulses.ts';

/**
 * Pulses that come in bursts are one repetition each: where pauses fall into two kinds, short ones inside a
 * burst and long ones between bursts, that alternate, the pulses of a burst are joined into one.
 */
export function joinBursts(
  pulses: Pulses,
  startOf: (i: number) => number,
  endOf: (i: number) => number,
): Pulses {
  const pause = burstPause(pulses, startOf, endOf);
  if (pause === null) return pulses;
  const heads: number[] = [];
  const tails: number[] = [];
  for (let i = 0; i < pulses.count; i++) {
    const joins =
      i > 0 &&
      startOf(i) - endOf(i - 1) <= pause &&
      endOf(i) - startOf(heads[heads.length - 1]!) <= LONGEST_BURST_S;
    if (joins) tails[tails.length - 1] = i;
    else {
      heads.push(i);
      tails.push(i);
    }
  }
  const over = <T>(f: (head: number, tail: number) => T): T[] => heads.map((h, k) => f(h, tails[k]!));
  const sum = (h: number, tail: number, f: (i: number) => number): number => {
    let s = 0;
    for (let i = h; i <= tail; i++) s += f(i);
    return s;
  };
  return {
    count: heads.length,
    at: Float64Array.from(
      over(
        (h, tail) =>
          sum(h, tail, (i) => pulses.at[i]! * pulses.charge[i]!) / sum(h, tail, (i) => pulses.charge[i]!),
      ),
    ),
    charge: Float64Array.from(over((h, tail) => sum(h, tail, (i) => pulses.charge[i]!))),
    peak: Float64Array.from(
      over((h, tail) => pulses.peak.subarray(h, tail + 1).reduce((a, b) => Math.max(a, b), 0)),
    ),
    first: Int32Array.from(over((h) => pulses.first[h]!)),
    last: Int32Array.from(over((_h, tail) => pulses.last[tail]!)),
    blur: Float64Array.from(over((h, tail) => (endOf(tail) - startOf(h)) / 4)),
  };
}

/** Published exchanges with a fob end within half a second; a burst of three is given some more. */
const LONGEST_BURST_S = 2;
const LOOKS = 3000;
const LEAST_PULSES = 12;
const LONGER_PAUSE = 2.5;
/** Between the longest pause inside a burst and the shortest between bursts. */
const LEAST_RATIO = 1.8;

/** The pause that parts pulses of a burst from bursts; null where there are no bursts. */
function burstPause(
  pulses: Pulses,
  startOf: (i: number) => number,
  endOf: (i: number) => number,
): number | null {
  const n = Math.min(pulses.count, LOOKS);
  if (n < LEAST_PULSES) return null;
  const pauses = Float64Array.from({ length: n - 1 }, (_, i) => startOf(i + 1) - endOf(i));
  const sorted = Float64Array.from(pauses).sort();
  let cut = -1;
  let ratio = LEAST_RATIO;
  // In a burst of two every second pause is short, in one of three two of three; readings may merge most.
  for (let k = Math.max(2, Math.floor(0.01 * n)); k < Math.min(0.8 * n, sorted.length - 1); k++) {
    const r = sorted[k + 1]! / Math.max(sorted[k]!, 1e-6) / (k < 0.2 * n ? 2 : 1);
    if (sorted[k]! < LONGEST_BURST_S / 2 && r > ratio) {
      ratio = r;
      cut = k;
    }
  }
  if (cut < 0) return null;
  // As the readings shift against the bursts, a pause may look one reading longer later on.
  const pause = Math.min(Math.sqrt(sorted[cut]! * sorted[cut + 1]!), LONGER_PAUSE * sorted[cut]!);
  // A train that changes its period has two kinds of pause as well, but not taking turns.
  let run = 0;
  let long = 0;
  for (const p of pauses) {
    run = p <= pause ? run + 1 : 0;
    if (run > 4) long++;
  }
  return long > 0.02 * n ? null : pause;
}
