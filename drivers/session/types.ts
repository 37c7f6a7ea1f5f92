import type { Clock } from '../core/clock.ts';
import type { Driver, MeterChannel, MeterDetails, Secrets } from '../core/driver.ts';
import type { Link } from '../core/link.ts';
import type { Quantity, Reading } from '../core/reading.ts';
import type { Query } from './queries.ts';

export type SessionState = 'connecting' | 'connected' | 'reconnecting' | 'failed' | 'stopped';

export interface SessionReading {
  readonly key: string;
  readonly reading: Reading;
  /** Arrival, or the meter's own time stamp where it has one, on the session's clock. */
  readonly atMs: number;
  /** True where `atMs` is the meter's own stamp: then it is good for less than a millisecond. */
  readonly isStamped?: boolean;
}

export type GapReason =
  | 'dropped'
  | 'meter-ended' // the meter itself ended the connection, as it does when it switches itself off
  | 'silent'
  | 'link-died'
  | 'packet-lost'; // the meter counts its packets, and one did not arrive

export interface SessionHooks {
  onState(state: SessionState, sentence: string): void;
  /**
   * Once per meter: after the first connect, before its first reading. Keys stay the same over reconnects. A
   * meter that broadcasts is told again when it brings a channel not seen before.
   */
  onMeter(meter: {
    readonly name: string;
    readonly driverId: string;
    readonly driverTitle: string;
    readonly channels: readonly MeterChannel[];
  }): void;
  /** The readings of one notification; called as it arrives, never from a timer. */
  onReadings(readings: readonly SessionReading[]): void;
  /** No readings from `startMs` to `endMs`; told when readings resume or the session stops. */
  onGap(gap: {
    readonly startMs: number;
    readonly endMs: number;
    readonly reason: GapReason;
    /** The one channel that it concerns; absent: all of the meter. */
    readonly channel?: string;
  }): void;
  /** A frame was refused; the session goes on. */
  onBadFrame(sentence: string, atMs: number): void;
  /** What the meter says of itself: after a connect, and when it changes. */
  onDetails?(details: MeterDetails): void;
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
  /** For a meter that answers on request. */
  readonly query?: Query;
  /** What a bare number in a line of text means. */
  readonly unitless?: Quantity;
}

export interface BroadcastSessionOptions {
  /** One with `listen`. */
  readonly link: Link;
  readonly drivers: readonly Driver[];
  readonly meterId: string;
  readonly clock: Clock;
  readonly hooks: SessionHooks;
  /** For encrypted broadcasts. */
  readonly secrets?: Secrets | null;
  /** Not heard for so long, and for several times its own usual interval: a gap. */
  readonly silentAfterMs?: number; // 15_000
  readonly backoffMs?: { readonly first: number; readonly longest: number }; // 500, 30_000
  readonly random: () => number;
}

export interface Session {
  readonly state: SessionState;
  /** Disconnects, closes an open gap, and lets nothing more come through the hooks but the 'stopped' state. */
  stop(): Promise<void>;
}
