import type { BitReader } from './bits.ts';

/**
 * Unsigned integers up to 2^53 - 1 as tokens and extra bits: a small one is its own token, a large one is told by its
 * length and its three highest bits. FORMAT.md, "Coded numbers".
 */
export const DIRECT = 64;
const DIRECT_BITS = 6;
export const TOKENS = DIRECT + (53 - DIRECT_BITS) * 4;

export function bitLength(z: number): number {
  return z < 0x80000000 ? 32 - Math.clz32(z) : 64 - Math.clz32(Math.floor(z / 2 ** 32));
}

export function tokenOf(z: number): number {
  if (z < DIRECT) return z;
  const bits = bitLength(z);
  return DIRECT + (bits - DIRECT_BITS - 1) * 4 + (Math.floor(z / 2 ** (bits - 3)) & 3);
}

/** How many bits follow a token. */
export function extraBits(token: number): number {
  return token < DIRECT ? 0 : ((token - DIRECT) >> 2) + DIRECT_BITS + 1 - 3;
}

/** The integer of a large token, given its extra bits. */
export function integerOf(token: number, bits: BitReader): number {
  const extra = extraBits(token);
  return (4 + ((token - DIRECT) & 3)) * 2 ** extra + bits.read(extra);
}
