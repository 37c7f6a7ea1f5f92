import { concat, hex } from './octets.ts';

/** As much of DER (ITU-T X.690) as time stamps need. */

export interface Der {
  readonly tag: number;
  /** Tag, length and content. */
  readonly whole: Uint8Array;
  readonly content: Uint8Array;
}

export const TAG = {
  boolean: 1,
  integer: 2,
  octets: 4,
  nothing: 5,
  oid: 6,
  time: 24,
  sequence: 48,
  set: 49,
} as const;

/** @throws RangeError where the octets are not one or more whole elements */
export function readAll(octets: Uint8Array): Der[] {
  const out: Der[] = [];
  for (let at = 0; at < octets.length;) {
    const tag = octets[at]!;
    const first = octets[at + 1] ?? 0x80;
    const more = first < 0x80 ? 0 : first & 0x7f;
    if (first === 0x80 || more > 4 || (tag & 0x1f) === 0x1f) throw new RangeError('not DER');
    let length = first < 0x80 ? first : 0;
    for (let i = 0; i < more; i++) length = length * 256 + (octets[at + 2 + i] ?? 0);
    const from = at + 2 + more;
    const end = from + length;
    if (end > octets.length) throw new RangeError('DER is cut short');
    out.push({ tag, whole: octets.subarray(at, end), content: octets.subarray(from, end) });
    at = end;
  }
  return out;
}

/** The children of a constructed element. @throws RangeError where it is another element */
export function inside(element: Der | undefined, tag: number): Der[] {
  if (element?.tag !== tag) throw new RangeError('not the element that belongs here');
  return readAll(element.content);
}

/** The content of a primitive element. @throws RangeError where it is another element */
export function contentOf(element: Der | undefined, tag: number): Uint8Array {
  if (element?.tag !== tag) throw new RangeError('not the element that belongs here');
  return element.content;
}

export function write(tag: number, ...parts: readonly Uint8Array[]): Uint8Array {
  const content = concat(...parts);
  const n = content.length;
  const length = n < 0x80 ? [n] : n < 0x100 ? [0x81, n] : [0x82, n >> 8, n & 0xff];
  return concat(Uint8Array.of(tag, ...length), content);
}

/** Whether the element is this object identifier, given as the hexadecimal digits of its content. */
export function isOid(element: Der | undefined, oid: string): boolean {
  return element?.tag === TAG.oid && hex(element.content) === oid;
}
