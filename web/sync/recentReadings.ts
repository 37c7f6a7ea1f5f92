import type { SessionReading } from '../../drivers/session/types.ts';

const KEEP_MS = 3000;
const MOST = 5000;

/** The last few seconds of one meter, for a recording whose start is heard of a moment late. */
export class RecentReadings {
  private readings: SessionReading[] = [];

  add(readings: readonly SessionReading[]): void {
    this.readings.push(...readings);
    const last = this.readings.at(-1);
    // Trimmed in large pieces, so that the cost of a reading stays the same.
    if (last && (this.readings.length > 2 * MOST || last.atMs - this.readings[0]!.atMs > 2 * KEEP_MS))
      this.readings = this.readings.filter((r) => last.atMs - r.atMs <= KEEP_MS).slice(-MOST);
  }

  all(): readonly SessionReading[] {
    return this.readings;
  }
}
