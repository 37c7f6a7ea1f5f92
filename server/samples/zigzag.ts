/** Signed integers as unsigned ones: 0, -1, 1, -2, ... become 0, 1, 2, 3, ... */
export function zigzag(n: number): number {
  return n < 0 ? -2 * n - 1 : 2 * n;
}

export function unzigzag(z: number): number {
  if (z < 0x40000000) return (z >>> 1) ^ -(z & 1);
  return z % 2 === 0 ? z / 2 : -(z + 1) / 2;
}
