import type { Checksum } from './description.ts';

/** The checksum that the octets `from` to `to` of an unmasked frame should have. */
export function checksumOf(c: Checksum, frame: Uint8Array): number {
  const all = c.octets === 1 ? 0xff : 0xffff;
  let state = c.start;
  for (let i = c.from; i < c.to; i++) {
    const octet = frame[i]!;
    if (c.kind === 'sum') state = (state + octet) & all;
    else if (c.kind === 'xor') state ^= octet;
    else state = crcStep(state, octet, c.octets, c.polynomial, c.reflected);
  }
  return state ^ c.final;
}

/** The checksum that the frame carries. */
export function storedChecksum(c: Pick<Checksum, 'at' | 'octets' | 'order'>, frame: Uint8Array): number {
  const first = frame[c.at]!;
  if (c.octets === 1) return first;
  const second = frame[c.at + 1]!;
  return c.order === 'little' ? first | (second << 8) : (first << 8) | second;
}

/** One octet through a CRC of 8 or 16 bits. A reflected one keeps its polynomial as catalogued (most significant bit first). */
export function crcStep(
  state: number,
  octet: number,
  octets: number,
  polynomial: number,
  reflected: boolean,
): number {
  const width = 8 * octets;
  if (reflected) {
    const mirrored = mirror(polynomial, width);
    let s = state ^ octet;
    for (let bit = 0; bit < 8; bit++) s = s & 1 ? (s >>> 1) ^ mirrored : s >>> 1;
    return s;
  }
  const top = 1 << (width - 1);
  const all = octets === 1 ? 0xff : 0xffff;
  let s = state ^ (octet << (width - 8));
  for (let bit = 0; bit < 8; bit++) s = (s & top ? (s << 1) ^ polynomial : s << 1) & all;
  return s;
}

function mirror(value: number, width: number): number {
  let out = 0;
  for (let i = 0; i < width; i++) if (value & (1 << i)) out |= 1 << (width - 1 - i);
  return out;
}
