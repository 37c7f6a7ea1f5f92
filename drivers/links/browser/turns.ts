import type { Clock } from '../../core/clock.ts';
import { isBusy } from './errors.ts';

/**
 * One operation at a time: browsers refuse a second GATT operation while one is under way. An operation
 * that fails does not hold the next one back.
 */
export function oneAtATime(): <T>(operation: () => Promise<T>) => Promise<T> {
  let last: Promise<unknown> = Promise.resolve();
  return (operation) => {
    const next = last.then(operation);
    last = next.catch(() => undefined);
    return next;
  };
}

const BUSY_RETRY_MS = 40;

/** Tries again while the browser says that it is busy (another tab, or an operation that was given up). */
export async function untilFree<T>(clock: Clock, timeoutMs: number, work: () => Promise<T>): Promise<T> {
  const lastTryMs = clock.nowMs() + timeoutMs - BUSY_RETRY_MS;
  for (;;) {
    try {
      return await work();
    } catch (error) {
      if (!isBusy(error) || clock.nowMs() > lastTryMs) throw error;
      await new Promise<void>((resolve) => clock.after(BUSY_RETRY_MS, resolve));
    }
  }
}
