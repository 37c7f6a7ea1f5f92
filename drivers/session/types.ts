import type { Clock } from '../core/clock.ts';
import type { Driver, MeterChannel } from '../core/driver.ts';
import type { Link } from '../core/link.ts';
import type { Reading } from '../core/reading.ts';

export type SessionState = 'connecting' | 'connected' | 'reconnecting' | 'failed' | 'stopped';

export interface SessionReading {
  readonly key: string;
  readonly reading: Reading;
  /** Arrival, or the meter's own time stamp where it has one, on the session's clock. */
  readonly atMs: number;
}

export type GapReason = 'dropped' | 'silent' | 'link-died';

export interface SessionHooks {
  onState(state: SessionState, sentence: string): void;
  /** Once per meter: after the first connect, before its first reading. Keys stay the same over reconnects. */
  onMeter(meter: {
    readonly name: string;
    readonly driverId: string;
    readonly driverTitle: string;
    readonly channels: readonly MeterChannel[];
  }): void;
  /** The readings of one notification; called as it arrives, never from a timer. */
  onReadings(readings: readonly SessionReading[]): void;
  /** No readings from `startMs` to `endMs`; told when readings resume or the session stops. */
  onGap(gap: { readonly startMs: number; readonly endMs: number; readonly reason: GapReason }): void;
  /** A frame was refused; the session goes on. */
  onBadFrame(sentence: string, atMs: number): void;
}

export interface SessionOptions {
  readonly link: Link;
  readonly drivers: readonly Driver[];
  readonly meterId: string;
  readonly clock: Clock;
  readonly hooks: SessionHooks;
  readonly connectTimeoutMs?: number; // 20_000
  readonly stepTimeoutMs?: number; // 8_000 for each read, write and subscribe
  /** Connected but nothing arrives for so long: a gap, and a fresh connection. */
  readonly silentAfterMs?: number; // 15_000
  /** First and longest wait before connecting again; doubled in between, with up to 20 % jitter. */
  readonly backoffMs?: { readonly first: number; readonly longest: number }; // 500, 30_000
  /** 0..1, for the jitter. */
  readonly random: () => number;
}

export interface Session {
  readonly state: SessionState;
  /** Disconnects, closes an open gap, and lets nothing more come through the hooks but the 'stopped' state. */
  stop(): Promise<void>;
}
