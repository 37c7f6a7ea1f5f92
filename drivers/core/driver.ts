import type { Advertisement, CharacteristicInfo, CharacteristicRef } from './link.ts';
import type { Quantity, Reading } from './reading.ts';
import type { Uuid } from './uuid.ts';

/** A characteristic with what was read from its descriptors before any driver was asked. */
export interface ProfiledCharacteristic extends CharacteristicInfo {
  /** Raw 0x2904 presentation format, where the characteristic has one. */
  readonly presentationFormat: Uint8Array | null;
}

/** All that a driver may look at to say whether a meter is one of its own. */
export interface MeterProfile {
  readonly name: string | null;
  readonly characteristics: readonly ProfiledCharacteristic[];
}

/** One series of readings that a meter offers. */
export interface MeterChannel {
  /** Unique within the meter and stable over reconnects, for example "2b18.0". */
  readonly key: string;
  readonly quantity: Quantity;
  /** What a technician reads beside the figure. */
  readonly label: string;
  readonly source: CharacteristicRef;
  /** Smallest step in the quantity's unit, for example 0.001; null where the format has none (floats). */
  readonly step: number | null;
}

/** One reading out of a value, with its channel's key. */
export interface DecodedReading {
  readonly key: string;
  readonly reading: Reading;
  /** The meter's own time of this reading, milliseconds from a zero of its own; absent where it has no clock. */
  readonly meterMs?: number;
  /** The meter sent readings of this channel before this one that never arrived. */
  readonly afterLoss?: boolean;
}

/** Decodes what arrives from one meter. Holds state only where the meter's framing needs it. */
export interface MeterReader {
  readonly channels: readonly MeterChannel[];
  /** Characteristics to subscribe to; those that cannot notify are read at `pollMs`. */
  readonly sources: readonly CharacteristicRef[];
  readonly pollMs: number;
  /** Where a question can be written to, for a meter that answers on request. */
  readonly queryTo?: CharacteristicRef;
  /**
   * Readings in one value of `source`, each with its channel's key.
   * @throws DriverError when the bytes are this driver's but broken
   */
  read(source: CharacteristicRef, bytes: Uint8Array): readonly DecodedReading[];
}

/** What a meter says of itself; null where it does not. */
export interface MeterDetails {
  readonly maker: string | null;
  readonly model: string | null;
  readonly serial: string | null;
  readonly firmware: string | null;
  /** Charge of the meter's own cell, percent; not the car's battery. */
  readonly cellPercent: number | null;
}

export const NO_DETAILS: MeterDetails = {
  maker: null,
  model: null,
  serial: null,
  firmware: null,
  cellPercent: null,
};

/**
 * AES-128-CCM without associated data (RFC 3610; NIST SP 800-38C): the plain text, or null where `mic` does
 * not fit, which means a wrong key or altered bytes.
 */
export type Decrypt = (
  key: Uint8Array,
  nonce: Uint8Array,
  ciphertext: Uint8Array,
  mic: Uint8Array,
) => Uint8Array | null;

/** What encrypted broadcasts need. */
export interface Secrets {
  /** 16 octets. */
  readonly key: Uint8Array;
  readonly decrypt: Decrypt;
}

/** Decodes what one meter broadcasts. Holds state: repetitions and replays are known by what came before. */
export interface AdvertisementReader {
  /** Grows when a packet brings a quantity not seen before; a channel's `source` names the service twice. */
  readonly channels: readonly MeterChannel[];
  readonly details: MeterDetails;
  /**
   * Readings in one packet; none in a repetition of the last.
   * @throws DriverError when the bytes are this driver's but broken, or not to be trusted
   */
  read(advertisement: Advertisement): readonly DecodedReading[];
}

export interface Driver {
  /** Stored with each recording, so it never changes once released. */
  readonly id: string;
  readonly title: string;
  /** Services that a browser must ask for; also the filter of a scan where `advertised` is true. */
  readonly services: readonly { readonly uuid: Uuid; readonly advertised: boolean }[];
  /** Asked only when no other driver knows anything of the meter. */
  readonly lastResort?: boolean;
  /** null: not mine. */
  open(profile: MeterProfile): MeterReader | null;
  /** Of meters that broadcast their readings and need no connection. null: not mine. */
  openAdvertisement?(first: Advertisement, secrets: Secrets | null): AdvertisementReader | null;
  /** The same driver where a bare number means this quantity. */
  withUnitless?(quantity: Quantity): Driver;
}

export function sameRef(a: CharacteristicRef, b: CharacteristicRef): boolean {
  return a.service === b.service && a.characteristic === b.characteristic && a.index === b.index;
}
