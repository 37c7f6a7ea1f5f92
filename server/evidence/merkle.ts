import { concat, sameOctets } from './octets.ts';
import type { Sha256 } from './signing.ts';

/** Merkle trees of RFC 6962, section 2.1: leaves are hashed with a 0 before them, pairs with a 1. */

const LEAF = Uint8Array.of(0);
const NODE = Uint8Array.of(1);

export function leafHash(leaf: Uint8Array, sha256: Sha256): Uint8Array {
  return sha256(concat(LEAF, leaf));
}

function nodeHash(left: Uint8Array, right: Uint8Array, sha256: Sha256): Uint8Array {
  return sha256(concat(NODE, left, right));
}

/** The largest power of two below n, for n > 1. */
function split(n: number): number {
  let k = 1;
  while (2 * k < n) k *= 2;
  return k;
}

/** Root over hashes of leaves; that of no leaves is SHA-256 of nothing. */
export function rootOf(hashes: readonly Uint8Array[], sha256: Sha256): Uint8Array {
  if (hashes.length === 0) return sha256(new Uint8Array());
  if (hashes.length === 1) return hashes[0]!;
  const k = split(hashes.length);
  return nodeHash(rootOf(hashes.slice(0, k), sha256), rootOf(hashes.slice(k), sha256), sha256);
}

/**
 * The audit path of leaf `index` (section 2.1.1): with it, the leaf and the root show that the leaf is in the tree.
 * @throws RangeError where there is no such leaf
 */
export function inclusionPath(index: number, hashes: readonly Uint8Array[], sha256: Sha256): Uint8Array[] {
  if (!Number.isInteger(index) || index < 0 || index >= hashes.length) throw new RangeError('no such leaf');
  if (hashes.length === 1) return [];
  const k = split(hashes.length);
  const [left, right] = [hashes.slice(0, k), hashes.slice(k)];
  return index < k
    ? [...inclusionPath(index, left, sha256), rootOf(right, sha256)]
    : [...inclusionPath(index - k, right, sha256), rootOf(left, sha256)];
}

/** Whether the path leads from the leaf's hash to the root of a tree of `size` leaves (RFC 9162, section 2.1.3.2). */
export function isIncluded(
  hash: Uint8Array,
  index: number,
  size: number,
  path: readonly Uint8Array[],
  root: Uint8Array,
  sha256: Sha256,
): boolean {
  if (!(index >= 0 && index < size)) return false;
  let [at, last, here] = [index, size - 1, hash];
  for (const other of path) {
    if (last === 0) return false;
    if (at % 2 === 1 || at === last) {
      here = nodeHash(other, here, sha256);
      while (at % 2 === 0 && at !== 0) [at, last] = [at / 2, Math.floor(last / 2)];
    } else here = nodeHash(here, other, sha256);
    [at, last] = [Math.floor(at / 2), Math.floor(last / 2)];
  }
  return last === 0 && sameOctets(here, root);
}

/**
 * Shows that the tree of the first `size` leaves is the beginning of this one (section 2.1.2).
 * @throws RangeError where `size` is not from 1 to the number of leaves
 */
export function consistencyPath(size: number, hashes: readonly Uint8Array[], sha256: Sha256): Uint8Array[] {
  if (!Number.isInteger(size) || size < 1 || size > hashes.length) throw new RangeError('no such tree');
  return subProof(size, hashes, true, sha256);
}

function subProof(m: number, hashes: readonly Uint8Array[], isWhole: boolean, sha256: Sha256): Uint8Array[] {
  if (m === hashes.length) return isWhole ? [] : [rootOf(hashes, sha256)];
  const k = split(hashes.length);
  const [left, right] = [hashes.slice(0, k), hashes.slice(k)];
  return m <= k
    ? [...subProof(m, left, isWhole, sha256), rootOf(right, sha256)]
    : [...subProof(m - k, right, false, sha256), rootOf(left, sha256)];
}

export interface TreeHead {
  readonly size: number;
  readonly root: Uint8Array;
}

/** Whether `path` shows that the earlier tree is the beginning of the later one (RFC 9162, section 2.1.4.2). */
export function isConsistent(
  earlier: TreeHead,
  later: TreeHead,
  path: readonly Uint8Array[],
  sha256: Sha256,
): boolean {
  if (earlier.size < 1 || earlier.size > later.size) return false;
  if (earlier.size === later.size) return path.length === 0 && sameOctets(earlier.root, later.root);
  const isPowerOfTwo = Number.isInteger(Math.log2(earlier.size));
  const [first, ...rest] = isPowerOfTwo ? [earlier.root, ...path] : path;
  if (first === undefined) return false;
  let [at, last] = [earlier.size - 1, later.size - 1];
  while (at % 2 === 1) [at, last] = [Math.floor(at / 2), Math.floor(last / 2)];
  let [old, now] = [first, first];
  for (const other of rest) {
    if (last === 0) return false;
    if (at % 2 === 1 || at === last) {
      [old, now] = [nodeHash(other, old, sha256), nodeHash(other, now, sha256)];
      while (at % 2 === 0 && at !== 0) [at, last] = [at / 2, Math.floor(last / 2)];
    } else now = nodeHash(now, other, sha256);
    [at, last] = [Math.floor(at / 2), Math.floor(last / 2)];
  }
  return last === 0 && sameOctets(old, earlier.root) && sameOctets(now, later.root);
}
