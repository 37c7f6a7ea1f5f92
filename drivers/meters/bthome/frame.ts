import { DriverError } from '../../core/errors.ts';
import { decodeUnsigned, encodeInteger } from '../../core/integers.ts';
import { BTHOME_SERVICE, DEVICE_INFO, ENCRYPTED_TAIL, OCTETS, OF_OWN_LENGTH } from './fields.ts';
import { shortOf } from '../../core/uuid.ts';

/** The service data of one packet. */
export type Packet =
  | { readonly encrypted: false; readonly info: number; readonly objects: Uint8Array }
  | {
      readonly encrypted: true;
      readonly info: number;
      readonly ciphertext: Uint8Array;
      readonly counter: number;
      readonly mic: Uint8Array;
    };

export interface PacketObject {
  readonly id: number;
  readonly bytes: Uint8Array;
}

/** @throws DriverError wrong-length, unsupported-format */
export function decodePacket(bytes: Uint8Array): Packet {
  const info = bytes[0];
  if (info === undefined) throw new DriverError('wrong-length', 'The packet is empty.');
  const version = info >> DEVICE_INFO.versionShift;
  if (version !== DEVICE_INFO.version) {
    throw new DriverError('unsupported-format', `The packet is of BTHome version ${version}, not 2.`);
  }
  if ((info & DEVICE_INFO.encrypted) === 0) return { encrypted: false, info, objects: bytes.subarray(1) };
  const micAt = bytes.length - ENCRYPTED_TAIL.mic;
  const counterAt = micAt - ENCRYPTED_TAIL.counter;
  if (counterAt < 1) throw new DriverError('wrong-length', 'The encrypted packet is too short.');
  return {
    encrypted: true,
    info,
    ciphertext: bytes.slice(1, counterAt),
    counter: decodeUnsigned(bytes, counterAt, ENCRYPTED_TAIL.counter),
    mic: bytes.slice(micAt),
  };
}

/** Mirror of `decodePacket`. */
export function encodePacket(packet: Packet): Uint8Array {
  return packet.encrypted
    ? Uint8Array.from([
        packet.info,
        ...packet.ciphertext,
        ...encodeInteger(packet.counter, ENCRYPTED_TAIL.counter, false),
        ...packet.mic,
      ])
    : Uint8Array.from([packet.info, ...packet.objects]);
}

/**
 * The objects in their order, up to the first of unknown length: senders put ids in ascending order so that
 * newer objects come behind those that older receivers know.
 * @throws DriverError wrong-length for an object that is cut short
 */
export function decodeObjects(bytes: Uint8Array): PacketObject[] {
  const objects: PacketObject[] = [];
  let at = 0;
  while (at < bytes.length) {
    const id = bytes[at++]!;
    let octets = OCTETS.get(id);
    if (OF_OWN_LENGTH.has(id)) octets = decodeUnsigned(bytes, at++, 1);
    if (octets === undefined) break;
    if (at + octets > bytes.length) throw new DriverError('wrong-length', 'The packet is cut short.');
    objects.push({ id, bytes: bytes.subarray(at, at + octets) });
    at += octets;
  }
  return objects;
}

/** Mirror of `decodeObjects`; puts the objects in ascending order of their ids. */
export function encodeObjects(objects: readonly PacketObject[]): Uint8Array {
  const ordered = [...objects].sort((a, b) => a.id - b.id);
  return Uint8Array.from(
    ordered.flatMap(({ id, bytes }) => [id, ...(OF_OWN_LENGTH.has(id) ? [bytes.length] : []), ...bytes]),
  );
}

/** The 13 octets that make each packet's encryption its own: address, service, information, counter. */
export function nonceOf(address: string, info: number, counter: number): Uint8Array {
  const mac = address.split(':').map((octet) => parseInt(octet, 16));
  const service = encodeInteger(shortOf(BTHOME_SERVICE)!, 2, false);
  return Uint8Array.from([...mac, ...service, info, ...encodeInteger(counter, 4, false)]);
}
