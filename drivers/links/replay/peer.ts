import type { Cancel, Clock } from '../../core/clock.ts';
import type { CharacteristicInfo, CharacteristicRef, EndedBy, ServiceData } from '../../core/link.ts';
import type { Uuid } from '../../core/uuid.ts';

export interface ReplayCharacteristic extends CharacteristicInfo {
  /** Descriptor contents, for example the 0x2904 presentation format. */
  readonly descriptorValues: readonly { readonly uuid: Uuid; readonly bytes: Uint8Array }[];
}

/** What a replayed peripheral may do while it is connected. */
export interface ReplayAir {
  readonly clock: Clock;
  /** A notification arrives now. Ignored where nobody has subscribed. */
  notify(ref: CharacteristicRef, bytes: Uint8Array): void;
  /** The radio is gone: the connection ends with this reason. */
  drop(reason: string, endedBy?: EndedBy): void;
}

/** A peripheral that is not made of hardware: stored frames, or a meter of the virtual car. */
export interface ReplayPeer {
  readonly id: string;
  readonly name: string;
  readonly services: readonly Uuid[];
  readonly characteristics: readonly ReplayCharacteristic[];
  /** False while it can neither be found nor connected to. */
  inRange(nowMs: number): boolean;
  /** Called on each connect; the returned function stops everything that it started. */
  connected(air: ReplayAir): Cancel;
  /** Bytes of a characteristic that is read rather than notified. */
  read(ref: CharacteristicRef, nowMs: number): Uint8Array;
  /** What it broadcasts at this time, for a meter that needs no connection. */
  broadcast?(nowMs: number): readonly ServiceData[];
  written?(ref: CharacteristicRef, bytes: Uint8Array): void;
}
