import type { Bits } from './description.ts';

/** A small generator with a fixed start, so that the same lesson always gives the same answer (mulberry32). */
export function generator(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}

/**
 * A frame that the meter might send: `base` in which each octet of `bits` (null: every octet) is taken from one
 * of `frames`, and now and then some of its bits that vary are turned.
 */
export function crossed(
  base: Uint8Array,
  frames: readonly Uint8Array[],
  bits: Bits | null,
  random: () => number,
): Uint8Array {
  const pick = () => frames[Math.floor(random() * frames.length)]!;
  const out = Uint8Array.from(base);
  const turn = random() < 0.5;
  const where = bits ?? Array.from(out, (_, at) => ({ at, mask: 0xff }));
  for (const { at, mask } of where) {
    let varying = 0;
    for (const f of frames) varying |= (f[at]! ^ frames[0]![at]!) & mask;
    let octet = pick()[at]!;
    if (turn) octet ^= Math.floor(random() * 256) & Math.floor(random() * 256) & varying;
    out[at] = (out[at]! & ~mask) | (octet & mask);
  }
  return out;
}
