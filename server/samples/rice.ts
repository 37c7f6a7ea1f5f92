import type { BitReader, BitWriter } from './bits.ts';

/**
 * A short column of unsigned integers in a Rice code: the part above `shift` bits as so many ones and a zero, then
 * the lower bits as they are. Needs no table, which suits a hundred numbers. FORMAT.md, "Pyramid".
 */
const MOST_ONES = 20;
const SHIFT_BITS = 6;
const LONG = 53;

/** Bits that the column takes with `shift`. */
function cost(z: Float64Array, shift: number): number {
  const unit = 2 ** shift;
  let bits = 0;
  for (let i = 0; i < z.length; i++) {
    const ones = Math.floor(z[i]! / unit);
    bits += ones >= MOST_ONES ? MOST_ONES + LONG : ones + 1 + shift;
  }
  return bits;
}

export function writeRice(bits: BitWriter, z: Float64Array): void {
  const middle = z.slice().sort()[z.length >> 1] ?? 0;
  const near = Math.floor(Math.log2(middle + 1));
  const shift = [near - 1, near, near + 1]
    .filter((s) => s >= 0 && s < LONG)
    .reduce((a, b) => (cost(z, b) < cost(z, a) ? b : a));
  const empty = z.every((x) => x === 0);
  bits.write(empty ? 2 ** SHIFT_BITS - 1 : shift, SHIFT_BITS);
  if (empty) return;
  const unit = 2 ** shift;
  for (let i = 0; i < z.length; i++) {
    const x = z[i]!;
    const ones = Math.floor(x / unit);
    if (ones >= MOST_ONES) {
      bits.write(2 ** MOST_ONES - 1, MOST_ONES);
      bits.write(x, LONG);
      continue;
    }
    bits.write(2 ** ones - 1, ones + 1);
    if (shift > 0) bits.write(x % unit, shift);
  }
}

/** @throws RangeError */
export function readRice(bits: BitReader, z: Float64Array): void {
  const shift = bits.read(SHIFT_BITS);
  if (shift === 2 ** SHIFT_BITS - 1) {
    z.fill(0);
    return;
  }
  for (let i = 0; i < z.length; i++) {
    let ones = 0;
    while (ones < MOST_ONES && bits.read(1) === 1) ones++;
    z[i] = ones === MOST_ONES ? bits.read(LONG) : ones * 2 ** shift + (shift > 0 ? bits.read(shift) : 0);
  }
}
