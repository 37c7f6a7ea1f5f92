import { strFromU8, strToU8 } from 'fflate';

/** Octets and their texts. */

const HEX = Array.from({ length: 256 }, (_, i) => i.toString(16).padStart(2, '0'));

export function hex(octets: Uint8Array): string {
  let text = '';
  for (const octet of octets) text += HEX[octet]!;
  return text;
}

/** @throws RangeError for anything but pairs of lower-case hexadecimal digits */
export function unhex(text: string): Uint8Array {
  if (!/^(?:[0-9a-f]{2})*$/.test(text)) throw new RangeError('not hexadecimal');
  return Uint8Array.from({ length: text.length / 2 }, (_, i) => parseInt(text.slice(2 * i, 2 * i + 2), 16));
}

export function concat(...parts: readonly Uint8Array[]): Uint8Array {
  const out = new Uint8Array(parts.reduce((n, p) => n + p.length, 0));
  let at = 0;
  for (const part of parts) {
    out.set(part, at);
    at += part.length;
  }
  return out;
}

export function sameOctets(a: Uint8Array, b: Uint8Array): boolean {
  return a.length === b.length && a.every((x, i) => x === b[i]);
}

export function utf8(text: string): Uint8Array {
  return strToU8(text);
}

/** @throws RangeError where the octets are not UTF-8 */
export function textOfUtf8(octets: Uint8Array): string {
  const text = strFromU8(octets);
  // A byte order mark or a malformed sequence does not come back as the same octets.
  if (!sameOctets(utf8(text), octets)) throw new RangeError('not UTF-8');
  return text;
}
