import {
  NO_DETAILS,
  type AdvertisementReader,
  type DecodedReading,
  type Driver,
  type MeterChannel,
  type MeterDetails,
  type Secrets,
} from '../../core/driver.ts';
import { DriverError } from '../../core/errors.ts';
import { decodeSigned, decodeUnsigned } from '../../core/integers.ts';
import type { Advertisement } from '../../core/link.ts';
import { FLAG } from '../../core/reading.ts';
import {
  BTHOME_SERVICE,
  CELL_LOW,
  CELL_PERCENT,
  FIRMWARE,
  MEASURED,
  PACKET_ID,
  type MeasuredObject,
} from './fields.ts';
import { decodeObjects, decodePacket, nonceOf, type Packet, type PacketObject } from './frame.ts';

/** A packet that neither numbers itself nor changes counts as new after so long. */
const SAME_AGAIN_MS = 1000;

const MEASURED_BY_ID = new Map(MEASURED.map((object) => [object.id, object]));

/** Meters that broadcast in the open BTHome format, plain or encrypted. */
export const bthome: Driver = {
  id: 'bthome',
  title: 'BTHome broadcasts',
  services: [{ uuid: BTHOME_SERVICE, advertised: true }],
  open: () => null,
  openAdvertisement(first, secrets) {
    return dataOf(first) === null ? null : createReader(secrets);
  },
};

function createReader(secrets: Secrets | null): AdvertisementReader {
  const channels: MeterChannel[] = [];
  const isNew = repetitions();
  let lastCounter = -1;
  let details = NO_DETAILS;

  function channelOf(object: MeasuredObject, before: number): MeterChannel {
    const key = `${object.id.toString(16).padStart(2, '0')}.${before}`;
    const known = channels.find((c) => c.key === key);
    if (known) return known;
    const channel: MeterChannel = {
      key,
      quantity: object.quantity,
      label: before === 0 ? object.label : `${object.label} ${before + 1}`,
      source: { service: BTHOME_SERVICE, characteristic: BTHOME_SERVICE, index: 0 },
      step: object.multiplier * 10 ** object.scale,
    };
    channels.push(channel);
    return channel;
  }

  /** The objects in the open; null for a repetition. */
  function opened(packet: Packet, address: string | null): Uint8Array | null {
    if (!packet.encrypted) {
      if (secrets === null) return packet.objects;
      throw new DriverError('not-authentic', 'The meter has a key, but this packet is not encrypted.');
    }
    if (secrets === null)
      throw new DriverError(
        'key-needed',
        'The meter encrypts what it broadcasts, and its bind key is not known.',
      );
    if (address === null) {
      throw new DriverError('key-needed', 'This computer does not tell the address that decrypting needs.');
    }
    const { info, ciphertext, counter, mic } = packet;
    if (counter === lastCounter) return null;
    if (counter < lastCounter) {
      throw new DriverError('not-authentic', 'The packet is older than the last one: a replay.');
    }
    const plain = secrets.decrypt(secrets.key, nonceOf(address, info, counter), ciphertext, mic);
    if (plain === null) throw new DriverError('not-authentic', 'The packet does not fit the bind key.');
    lastCounter = counter;
    return plain;
  }

  return {
    channels,
    get details() {
      return details;
    },
    read(advertisement) {
      const data = dataOf(advertisement);
      if (data === null) return [];
      const plain = opened(decodePacket(data), advertisement.address);
      if (plain === null) return [];
      const objects = decodeObjects(plain);
      if (!isNew(objects, plain, advertisement.atMs)) return [];
      details = detailsIn(objects, details);
      const low = objects.some((o) => o.id === CELL_LOW && o.bytes[0] === 1);
      const counts = new Map<number, number>();
      return objects.flatMap(({ id, bytes }): DecodedReading[] => {
        const object = MEASURED_BY_ID.get(id);
        if (!object) return [];
        const before = counts.get(id) ?? 0;
        counts.set(id, before + 1);
        const raw = (object.signed ? decodeSigned : decodeUnsigned)(bytes, 0, object.octets);
        const reading = {
          quantity: object.quantity,
          counts: raw * object.multiplier,
          scale: object.scale,
          flags: low ? FLAG.meterCellLow : 0,
        };
        return [{ key: channelOf(object, before).key, reading }];
      });
    },
  };
}

function dataOf({ serviceData }: Advertisement): Uint8Array | null {
  return serviceData.find((d) => d.uuid === BTHOME_SERVICE)?.bytes ?? null;
}

/**
 * Tells a packet from the repetitions with which it is sent: by its packet id, and where it has none by
 * whether it says anything else than the last.
 */
function repetitions(): (objects: readonly PacketObject[], plain: Uint8Array, atMs: number) => boolean {
  let lastId: number | null = null;
  let last: { readonly text: string; readonly atMs: number } | null = null;
  return (objects, plain, atMs) => {
    const id = objects.find((o) => o.id === PACKET_ID)?.bytes[0];
    if (id !== undefined) {
      const isNew = id !== lastId;
      lastId = id;
      return isNew;
    }
    const text = plain.join();
    if (last !== null && last.text === text && atMs - last.atMs < SAME_AGAIN_MS) return false;
    last = { text, atMs };
    return true;
  };
}

function detailsIn(objects: readonly PacketObject[], before: MeterDetails): MeterDetails {
  const cell = objects.find((o) => o.id === CELL_PERCENT)?.bytes[0];
  const firmware = objects.find((o) => FIRMWARE.some((id) => id === o.id))?.bytes;
  return {
    ...before,
    cellPercent: cell !== undefined && cell <= 100 ? cell : before.cellPercent,
    firmware: firmware ? [...firmware].reverse().join('.') : before.firmware,
  };
}
