import type { DecodedReading } from '../core/driver.ts';
import type { SessionReading } from './types.ts';

/** Faster drift than any quartz of a cheap module shows (50 ppm or less; common practice, no source). */
const DRIFT = 100e-6;
/** A stamp that lies so far off is a meter that started its clock again. */
const RESTART_MS = 5_000;

/**
 * Places a meter's own time stamps on the session's clock. Radio can only delay: the smallest
 * (arrival - stamp) seen so far is the best guess of the offset between the clocks, and it may rise slowly
 * because the meter's crystal may run slow. Readings without a stamp keep their arrival time.
 */
export class MeterTime {
  private offset: number | null = null;
  private lastArrival = 0;
  private readonly lastPlaced = new Map<string, number>();

  /** The readings of one notification; times of one channel never decrease. */
  place(readings: readonly DecodedReading[], arrivalMs: number): SessionReading[] {
    const newest = readings.reduce((max, r) => Math.max(max, r.meterMs ?? -Infinity), -Infinity);
    if (newest > -Infinity) this.observe(newest, arrivalMs);
    return readings.map(({ key, reading, meterMs }) => {
      if (meterMs === undefined) return { key, reading, atMs: arrivalMs };
      const atMs = Math.max(meterMs + this.offset!, this.lastPlaced.get(key) ?? -Infinity);
      this.lastPlaced.set(key, atMs);
      return { key, reading, atMs, isStamped: true };
    });
  }

  private observe(stampMs: number, arrivalMs: number): void {
    const seen = arrivalMs - stampMs;
    const crept = (this.offset ?? Infinity) + DRIFT * (arrivalMs - this.lastArrival);
    const restarted = this.offset !== null && Math.abs(seen - this.offset) > RESTART_MS;
    this.offset = restarted ? seen : Math.min(seen, crept);
    this.lastArrival = arrivalMs;
  }
}
