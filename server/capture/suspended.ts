import { readFileSync } from 'node:fs';

/**
 * Milliseconds that this computer has slept since it was started, where its monotonic clock stands still meanwhile
 * (Linux: /proc/uptime counts sleep, CLOCK_MONOTONIC does not; to 10 ms); null elsewhere.
 */
export function suspendedMs(): number | null {
  if (process.platform !== 'linux') return null;
  try {
    const uptimeS = Number(readFileSync('/proc/uptime', 'utf8').split(' ')[0]);
    const [seconds, nanoseconds] = process.hrtime();
    const slept = uptimeS * 1000 - (seconds * 1000 + nanoseconds / 1e6);
    return Number.isFinite(slept) ? slept : null;
  } catch {
    return null;
  }
}
