/**
 * Periods at which times gather in one part of the phase. A meter with dead time misses pulses, so that of a fast train
 * hardly two in a row may be seen and no difference of times tells the period; but all those that are seen share its
 * phase. The fundamental gathers them most: at its harmonics, and their images beside the sampling rate, the phases of
 * an aperture spread as many times as wide.
 */

/** Steps of frequency per turn over the whole span. */
const OVERSAMPLING = 4;

/**
 * The likeliest periods in [shortestS, longestS], best first, at most `most` of them.
 * @param times rising, seconds
 */
export function gatheringPeriods(
  times: Float64Array,
  shortestS: number,
  longestS: number,
  most: number,
): number[] {
  const span = times[times.length - 1]! - times[0]!;
  if (!(span > 0) || !(shortestS > 0) || longestS <= shortestS) return [];
  const step = 1 / (OVERSAMPLING * span);
  const from = 1 / longestS;
  const count = Math.floor((1 / shortestS - from) / step) + 1;
  const gathered = Float64Array.from({ length: count }, (_, k) => gathering(times, from + k * step));
  const isPeak = (k: number): boolean =>
    gathered[k]! >= (gathered[k - 1] ?? 0) && gathered[k]! > (gathered[k + 1] ?? 0);
  return Array.from(gathered.keys())
    .filter(isPeak)
    .sort((a, b) => gathered[b]! - gathered[a]!)
    .slice(0, most)
    .map((k) => 1 / (from + k * step));
}

/** Length of the mean of unit vectors at the times' phases: 1 where all have the same phase, about 0 where they have any. */
function gathering(times: Float64Array, frequency: number): number {
  let re = 0;
  let im = 0;
  for (const t of times) {
    const a = 2 * Math.PI * frequency * (t - times[0]!);
    re += Math.cos(a);
    im += Math.sin(a);
  }
  return Math.hypot(re, im) / times.length;
}
