import { randomBytes } from 'node:crypto';

// 32 signs without 0, 1, l and o, which people mix up when they read an id aloud.
const SIGNS = '23456789abcdefghijkmnpqrstuvwxyz';

/** A fresh id: 12 signs, 60 random bits. */
export function newId(): string {
  return Array.from(randomBytes(12), (byte) => SIGNS[byte % 32]).join('');
}
