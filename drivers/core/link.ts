import type { Abort } from './clock.ts';
import type { Uuid } from './uuid.ts';

/** Where a characteristic is; a meter may offer the same characteristic in more than one service. */
export interface CharacteristicRef {
  readonly service: Uuid;
  readonly characteristic: Uuid;
  /** 0 for the first characteristic of that UUID in that service, 1 for the second, ... */
  readonly index: number;
}

export interface CharacteristicInfo extends CharacteristicRef {
  readonly canRead: boolean;
  readonly canNotify: boolean; // notify or indicate
  readonly canWrite: boolean;
  /** Descriptors present, as far as the platform tells; the client configuration (0x2902) may be left out. */
  readonly descriptors: readonly Uuid[];
}

/** A meter as a scan or a chooser shows it. */
export interface SeenMeter {
  /** Stable for this link; an address where the platform gives one, an opaque id elsewhere. */
  readonly id: string;
  readonly name: string | null;
  readonly rssi: number | null;
  /** Advertised service UUIDs, those of service data among them. */
  readonly services: readonly Uuid[];
}

/** Bytes that a device broadcasts for a service (Core Specification Supplement, Part A, 1.11). */
export interface ServiceData {
  readonly uuid: Uuid;
  readonly bytes: Uint8Array;
}

/** One packet that a device broadcast, with the time of its arrival on the link's clock. */
export interface Advertisement {
  /** The same as `SeenMeter.id`. */
  readonly id: string;
  /** Six octets as printed, "c0:de:00:00:00:01"; null where the platform keeps it to itself. */
  readonly address: string | null;
  readonly name: string | null;
  readonly rssi: number | null;
  readonly serviceData: readonly ServiceData[];
  readonly atMs: number;
}

export interface ListenOptions {
  /** Only packets with service data of one of these are told. */
  readonly services: readonly Uuid[];
  readonly signal: Abort;
  readonly onAdvertisement: (advertisement: Advertisement) => void;
}

export interface FindOptions {
  /** Show only meters that advertise one of these; empty shows every meter. */
  readonly services: readonly Uuid[];
  /** Services that the page asks permission for beyond those advertised (Web Bluetooth needs them named). */
  readonly alsoUse?: readonly Uuid[];
  readonly signal: Abort;
  readonly onSeen: (meter: SeenMeter) => void;
}

export interface ConnectOptions {
  /** The whole connect, discovery included, must be done by then. */
  readonly timeoutMs: number;
  readonly signal: Abort;
}

/**
 * Who ended a connection, as far as the radio tells: the meter said good-bye, as it does when it switches
 * itself off, or it was no longer heard.
 */
export type EndedBy = 'meter' | 'radio' | 'unknown';

/** Bytes that a meter sent, with the time of their arrival on the link's clock (`Clock.nowMs`). */
export type OnBytes = (bytes: Uint8Array, atMs: number) => void;

/**
 * One open connection. Every promise settles: with a LinkError at the latest when its time is up or the
 * connection is gone.
 */
export interface Connection {
  readonly meter: SeenMeter;
  /** All characteristics of all services. */
  readonly characteristics: readonly CharacteristicInfo[];
  read(ref: CharacteristicRef): Promise<Uint8Array>;
  readDescriptor(ref: CharacteristicRef, descriptor: Uuid): Promise<Uint8Array>;
  write(ref: CharacteristicRef, bytes: Uint8Array, withResponse: boolean): Promise<void>;
  /** Starts notifications (or indications); the one listener per characteristic stays until the end. */
  subscribe(ref: CharacteristicRef, onBytes: OnBytes): Promise<void>;
  /** Called once, when the connection has ended for whatever reason other than `close`. */
  onDropped(listener: (reason: string, endedBy?: EndedBy) => void): void;
  close(): Promise<void>;
}

/** A way to reach meters: Web Bluetooth, noble, or stored frames. */
export interface Link {
  readonly kind: 'browser' | 'node' | 'replay';
  /**
   * Reports meters until aborted (scan), or the one that was chosen (browser chooser).
   * @throws LinkError no-bluetooth, not-allowed, not-found, link-died
   */
  find(options: FindOptions): Promise<void>;
  /** @throws LinkError */
  connect(id: string, options: ConnectOptions): Promise<Connection>;
  /**
   * Tells every packet of service data until aborted, repetitions included; absent where the platform does
   * not show them.
   * @throws LinkError as `find` does
   */
  listen?(options: ListenOptions): Promise<void>;
}
