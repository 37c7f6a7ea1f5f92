import { expect } from 'vitest';

/** `expect.poll` with the patience that a browser on a busy machine needs. */
export function eventually<T>(ask: () => T | Promise<T>, timeoutMs = 15_000) {
  return expect.poll(ask, { timeout: timeoutMs, interval: 25 });
}
