import { concat, hex, sameOctets, unhex, utf8 } from './octets.ts';

/** SHA-256 (FIPS 180-4) of some octets, 32 octets. */
export type Sha256 = (octets: Uint8Array) => Uint8Array;

/** The same of octets that come in pieces. */
export interface Hash {
  update(octets: Uint8Array): void;
  digest(): Uint8Array;
}

/** What checking needs of its surroundings: node:crypto in the server, a library in the browser. */
export interface Checker {
  readonly sha256: Sha256;
  /** Ed25519 (RFC 8032, section 5.1.7): raw public key of 32 octets, signature of 64. Never throws. */
  verify(publicKey: Uint8Array, message: Uint8Array, signature: Uint8Array): boolean;
}

export interface Signer {
  /** Raw Ed25519 public key, 32 octets. */
  readonly publicKey: Uint8Array;
  /** 64 octets. */
  sign(message: Uint8Array): Uint8Array;
}

/** SubjectPublicKeyInfo of an Ed25519 key before the key itself (RFC 8410, section 4). */
const SPKI_HEAD = unhex('302a300506032b6570032100');

/** SubjectPublicKeyInfo in DER, 44 octets. */
export function spkiOf(publicKey: Uint8Array): Uint8Array {
  if (publicKey.length !== 32) throw new RangeError('an Ed25519 public key has 32 octets');
  return concat(SPKI_HEAD, publicKey);
}

/** The key's name: SHA-256 of its SubjectPublicKeyInfo, 64 hexadecimal digits. */
export function fingerprintOf(publicKey: Uint8Array, sha256: Sha256): string {
  return hex(sha256(spkiOf(publicKey)));
}

/** In groups of eight digits, to be compared by eye. */
export function fingerprintText(fingerprint: string): string {
  return fingerprint.replace(/(.{8})(?=.)/g, '$1 ');
}

export function pemOf(publicKey: Uint8Array): string {
  return `-----BEGIN PUBLIC KEY-----\n${base64(spkiOf(publicKey))}\n-----END PUBLIC KEY-----\n`;
}

/** The raw key of a file that `pemOf` wrote. @throws RangeError for any other text */
export function publicKeyOfPem(octets: Uint8Array): Uint8Array {
  const text = String.fromCharCode(...octets.subarray(0, 200));
  const body = /^-----BEGIN PUBLIC KEY-----\n([A-Za-z0-9+/]{59}=)\n-----END PUBLIC KEY-----\n$/.exec(
    text,
  )?.[1];
  const key = body === undefined ? null : unbase64(body).slice(SPKI_HEAD.length);
  if (key === null || key.length !== 32 || !sameOctets(utf8(pemOf(key)), octets))
    throw new RangeError('not an Ed25519 public key as Nightdraw writes it');
  return key;
}

const SIGNS = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/';

/** RFC 4648, section 4. */
export function base64(octets: Uint8Array): string {
  let text = '';
  for (let i = 0; i < octets.length; i += 3) {
    const n = (octets[i]! << 16) | ((octets[i + 1] ?? 0) << 8) | (octets[i + 2] ?? 0);
    const signs = [n >> 18, (n >> 12) & 63, (n >> 6) & 63, n & 63].map((k) => SIGNS[k]!).join('');
    text += signs.slice(0, Math.min(4, octets.length - i + 1)).padEnd(4, '=');
  }
  return text;
}

/** @throws RangeError where the text is not what `base64` gives for some octets */
export function unbase64(text: string): Uint8Array {
  const bare = text.replace(/={1,2}$/, '');
  const out = new Uint8Array(Math.floor((bare.length * 3) / 4));
  let bits = 0;
  let held = 0;
  let at = 0;
  for (const sign of bare) {
    bits = ((bits << 6) | SIGNS.indexOf(sign)) & 0xffffff;
    held += 6;
    if (held >= 8) {
      held -= 8;
      out[at++] = (bits >> held) & 0xff;
    }
  }
  if (base64(out) !== text) throw new RangeError('not base64');
  return out;
}
