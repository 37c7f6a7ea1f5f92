import type { GapReason, SessionHooks, SessionReading } from './types.ts';

/** Remembers when the meter was last heard, and tells each pause in its readings once, when it is over. */
export class Gaps {
  private open: { readonly startMs: number; readonly reason: GapReason } | null = null;
  private readonly lastOfChannel = new Map<string, number>();
  private last: number | null = null;

  constructor(private readonly onGap: SessionHooks['onGap']) {}

  /** Time of the last reading, null before the first. */
  get lastReadingMs(): number | null {
    return this.last;
  }

  /** From its last reading on the meter gives none; the first reason for it stands. */
  begin(reason: GapReason): void {
    if (this.open === null && this.last !== null) this.open = { startMs: this.last, reason };
  }

  end(endMs: number): void {
    const { open } = this;
    this.open = null;
    if (open !== null && endMs > open.startMs) this.onGap({ ...open, endMs });
  }

  /** `lossBefore` names the channels whose first reading here comes after lost ones. */
  heard(readings: readonly SessionReading[], lossBefore: ReadonlySet<string>): void {
    let first = Infinity;
    let newest = this.last ?? -Infinity;
    for (const { atMs } of readings) {
      first = Math.min(first, atMs);
      newest = Math.max(newest, atMs);
    }
    this.end(first);
    this.last = newest;
    const told = new Set<string>();
    for (const { key, atMs } of readings) {
      const startMs = this.lastOfChannel.get(key);
      this.lastOfChannel.set(key, atMs);
      if (told.has(key)) continue;
      told.add(key);
      if (startMs === undefined || !lossBefore.has(key) || atMs <= startMs) continue;
      this.onGap({ startMs, endMs: atMs, reason: 'packet-lost', channel: key });
    }
  }
}
