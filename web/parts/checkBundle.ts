import { ed25519 } from '@noble/curves/ed25519.js';
import { sha256 } from '@noble/hashes/sha2.js';
import type { Checker } from '../../server/evidence/signing.ts';
import { verifyBundle, type Verification } from '../../server/evidence/verify.ts';

/** Hash and signatures without the browser's own, which a page over plain http does not have. */
export const pageChecker: Checker = {
  sha256: (octets) => sha256(octets),
  verify(publicKey, message, signature) {
    try {
      return ed25519.verify(signature, message, publicKey);
    } catch {
      return false;
    }
  },
};

/** Checks a bundle here: nothing of it leaves the page. */
export function checkBundle(file: Uint8Array, key: string): Verification {
  return verifyBundle(file, pageChecker, { key: key.trim() === '' ? undefined : key });
}
