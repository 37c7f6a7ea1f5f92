import type { Bits } from './description.ts';

/** The frame combined with the mask by exclusive or; the frame itself where there is none. */
export function unmasked(frame: Uint8Array, mask: Uint8Array | null): Uint8Array {
  if (!mask) return frame;
  return frame.map((octet, i) => octet ^ (mask[i] ?? 0));
}

/** The masked octets of `bits`, as the hex text that a description compares with. */
export function codeAt(frame: Uint8Array, bits: Bits): string {
  let code = '';
  for (const { at, mask } of bits) code += (frame[at]! & mask).toString(16).padStart(2, '0');
  return code;
}

/** A half octet by its address: 2 x octet for the high half, one more for the low half. */
export function nibbleAt(frame: Uint8Array, address: number): number {
  const octet = frame[address >> 1]!;
  return address % 2 === 0 ? octet >> 4 : octet & 15;
}

/** Mask of the half octet at `address` within its octet. */
export function nibbleMask(address: number): number {
  return address % 2 === 0 ? 0xf0 : 0x0f;
}

export function hexOf(bytes: Iterable<number>): string {
  let text = '';
  for (const b of bytes) text += b.toString(16).padStart(2, '0');
  return text;
}

export function bytesOf(hex: string): Uint8Array {
  return Uint8Array.from({ length: hex.length / 2 }, (_, i) => parseInt(hex.slice(2 * i, 2 * i + 2), 16));
}

export function union(a: Bits, b: Bits): Bits {
  const masks = new Map<number, number>();
  for (const { at, mask } of [...a, ...b]) masks.set(at, (masks.get(at) ?? 0) | mask);
  return [...masks].map(([at, mask]) => ({ at, mask }));
}

export function without(a: Bits, b: Bits): Bits {
  return a.flatMap(({ at, mask }) => {
    const rest = mask & ~(b.find((x) => x.at === at)?.mask ?? 0);
    return rest === 0 ? [] : [{ at, mask: rest }];
  });
}

export function overlaps(a: Bits, b: Bits): boolean {
  return a.some((x) => b.some((y) => x.at === y.at && (x.mask & y.mask) !== 0));
}
