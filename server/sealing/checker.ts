import { createHash, createPublicKey, verify, type KeyObject } from 'node:crypto';
import { spkiOf, type Checker, type Hash } from '../evidence/signing.ts';

export function sha256(octets: Uint8Array): Uint8Array {
  return createHash('sha256').update(octets).digest();
}

/** SHA-256 of octets that come in pieces. */
export function nodeHash(): Hash {
  const hash = createHash('sha256');
  return { update: (octets) => void hash.update(octets), digest: () => new Uint8Array(hash.digest()) };
}

/** Hash and signatures of node:crypto. */
export const nodeChecker: Checker = {
  sha256: (octets) => new Uint8Array(sha256(octets)),
  verify(publicKey, message, signature) {
    if (publicKey.length !== 32 || signature.length !== 64) return false;
    return verify(null, message, keyOf(publicKey), signature);
  },
};

function keyOf(publicKey: Uint8Array): KeyObject {
  return createPublicKey({ key: Buffer.from(spkiOf(publicKey)), format: 'der', type: 'spki' });
}
