/**
 * Randomness that can be addressed: the k-th draw of a stream is a pure function of (stream, k), so that a
 * meter's 5000th conversion carries the same noise whether or not anybody listened to the first 4999.
 */

/** A stream of independent draws, named by an unsigned 32-bit number. */
export type Stream = number;

/** The 32-bit finaliser of MurmurHash3: every input bit reaches every output bit. */
function mix(x: number): number {
  let h = x >>> 0;
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return (h ^ (h >>> 16)) >>> 0;
}

const GOLDEN = 0x9e3779b9; // 2^32 / golden ratio, odd: the Weyl increment of SplitMix

/** The stream of one part of the simulation, independent of those of all other parts and seeds. */
export function streamOf(seed: number, part: string): Stream {
  let h = mix(Math.imul(seed | 0, GOLDEN) ^ mix(Math.floor(seed / 2 ** 32)));
  for (let i = 0; i < part.length; i++) h = mix(Math.imul(h, 31) + part.charCodeAt(i));
  return h;
}

/** 32 random bits: draw `index` (0 .. 2^53) of a stream. */
export function bitsAt(stream: Stream, index: number): number {
  const high = Math.floor(index / 2 ** 32);
  // The second key keeps two streams from being shifted copies of one sequence, as plain SplitMix would give.
  return mix(mix((Math.imul(index | 0, GOLDEN) + stream) | 0) ^ mix(stream + 0x7f4a7c15 + high));
}

/** Uniform in the open interval (0, 1). */
export function uniformAt(stream: Stream, index: number): number {
  return (bitsAt(stream, index) + 0.5) / 2 ** 32;
}

/** Standard normal deviate. */
export function normalAt(stream: Stream, index: number): number {
  return normalQuantile(uniformAt(stream, index));
}

/**
 * Inverse of the standard normal distribution, relative error below 1e-6 for 0 < p < 1.
 * M. J. Wichura, algorithm AS 241 (PPND7), Applied Statistics 37 (1988) 477.
 */
export function normalQuantile(p: number): number {
  const q = p - 0.5;
  if (Math.abs(q) <= 0.425) {
    const r = 0.180625 - q * q;
    return (
      (q * (((59.10937472 * r + 159.29113202) * r + 50.434271938) * r + 3.3871327179)) /
      (((67.18756361 * r + 78.757757664) * r + 17.895169469) * r + 1)
    );
  }
  const tail = Math.sqrt(-Math.log(q < 0 ? p : 1 - p));
  const r = tail <= 5 ? tail - 1.6 : tail - 5;
  const x =
    tail <= 5
      ? (((0.17023821103 * r + 1.3067284816) * r + 2.75681539) * r + 1.4234372777) /
        ((0.12021132975 * r + 0.7370016425) * r + 1)
      : (((0.017337203997 * r + 0.42868294337) * r + 3.081226386) * r + 6.657905115) /
        ((0.012258202635 * r + 0.24197894225) * r + 1);
  return q < 0 ? -x : x;
}
