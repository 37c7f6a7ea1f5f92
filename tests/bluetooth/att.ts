import type { ReplayCharacteristic } from '../../drivers/links/replay/peer.ts';
import { shortOf, uuid16, type Uuid } from '../../drivers/core/uuid.ts';
import { u16 } from './hci.ts';

/** Attribute protocol: Bluetooth Core Specification, Vol 3, Part F, 3.4. */
export const ATT = {
  error: 0x01,
  mtuRequest: 0x02,
  mtuResponse: 0x03,
  findInfoRequest: 0x04,
  findInfoResponse: 0x05,
  readByTypeRequest: 0x08,
  readByTypeResponse: 0x09,
  readRequest: 0x0a,
  readResponse: 0x0b,
  readBlobRequest: 0x0c,
  readBlobResponse: 0x0d,
  readByGroupRequest: 0x10,
  readByGroupResponse: 0x11,
  writeRequest: 0x12,
  writeResponse: 0x13,
  notification: 0x1b,
  indication: 0x1d,
  confirmation: 0x1e,
  writeCommand: 0x52,
} as const;
export const ATT_ERROR = {
  invalidHandle: 0x01,
  readNotPermitted: 0x02,
  writeNotPermitted: 0x03,
  notSupported: 0x06,
  insufficientAuthentication: 0x05,
  invalidOffset: 0x07,
  notFound: 0x0a,
} as const;

const PRIMARY_SERVICE = uuid16(0x2800);
const CHARACTERISTIC = uuid16(0x2803);
export const CLIENT_CONFIGURATION = uuid16(0x2902);

export interface Attribute {
  readonly handle: number;
  readonly type: Uuid;
  /** Where the value is fixed. */
  value: Buffer;
  /** Last handle of the service that this attribute declares. */
  serviceEnd?: number;
  /** The characteristic whose value or client configuration this is. */
  readonly of?: ReplayCharacteristic;
}

/** How a peripheral answers beyond its table: values that live, and what was written. */
export interface AttHost {
  readonly mtu: number;
  read(characteristic: ReplayCharacteristic): Uint8Array;
  written(attribute: Attribute, bytes: Buffer): void;
}

export function uuidBytes(uuid: Uuid): Buffer {
  const short = shortOf(uuid);
  return short === null ? Buffer.from(uuid.replaceAll('-', ''), 'hex').reverse() : u16(short);
}

export interface TableOptions {
  readonly indicates: boolean;
  readonly clientConfiguration: boolean;
}

/** A service begins wherever the service's UUID changes, so that A, B, A makes two services A. */
export function attributeTable(
  characteristics: readonly ReplayCharacteristic[],
  options: TableOptions,
): Attribute[] {
  const table: Attribute[] = [];
  const add = (attribute: Omit<Attribute, 'handle'>): Attribute => {
    const added = { ...attribute, handle: table.length + 1 };
    table.push(added);
    return added;
  };
  let service: Attribute | undefined;
  characteristics.forEach((c, i) => {
    if (!service || characteristics[i - 1]?.service !== c.service) {
      service = add({ type: PRIMARY_SERVICE, value: uuidBytes(c.service), serviceEnd: 0 });
    }
    const properties =
      (c.canRead ? 0x02 : 0) |
      (c.canWrite ? 0x0c : 0) |
      (c.canNotify ? (options.indicates ? 0x20 : 0x10) : 0);
    const declaration = add({ type: CHARACTERISTIC, value: Buffer.alloc(0) });
    const value = add({ type: c.characteristic, value: Buffer.alloc(0), of: c });
    declaration.value = Buffer.concat([
      Buffer.from([properties]),
      u16(value.handle),
      uuidBytes(c.characteristic),
    ]);
    if (c.canNotify && options.clientConfiguration) {
      add({ type: CLIENT_CONFIGURATION, value: Buffer.alloc(2), of: c });
    }
    for (const d of c.descriptorValues) add({ type: d.uuid, value: Buffer.from(d.bytes) });
    service.serviceEnd = table.length;
  });
  return table;
}

export function attError(request: number, handle: number, code: number): Buffer {
  return Buffer.concat([Buffer.from([ATT.error, request]), u16(handle), Buffer.from([code])]);
}

/** The answer to one request, or null where none is due. */
export function attAnswer(pdu: Buffer, table: readonly Attribute[], host: AttHost): Buffer | null {
  const code = pdu[0]!;
  switch (code) {
    case ATT.readByGroupRequest:
      return list(pdu, ATT.readByGroupResponse, host.mtu, inRange(pdu, table, PRIMARY_SERVICE), (a) =>
        Buffer.concat([u16(a.handle, a.serviceEnd!), a.value]),
      );
    case ATT.readByTypeRequest: {
      const wanted = pdu.subarray(5);
      const matching = inRange(pdu, table, null).filter((a) => uuidBytes(a.type).equals(wanted));
      return list(pdu, ATT.readByTypeResponse, host.mtu, matching, (a) =>
        Buffer.concat([u16(a.handle), a.value]),
      );
    }
    case ATT.findInfoRequest:
      return list(pdu, ATT.findInfoResponse, host.mtu, inRange(pdu, table, null), (a) =>
        Buffer.concat([u16(a.handle), uuidBytes(a.type)]),
      );
    case ATT.readRequest:
    case ATT.readBlobRequest:
      return read(pdu, table, host);
    case ATT.writeRequest:
    case ATT.writeCommand: {
      const attribute = table.find((a) => a.handle === pdu.readUInt16LE(1));
      const refused = !attribute?.of
        ? ATT_ERROR.invalidHandle
        : attribute.type !== CLIENT_CONFIGURATION && !attribute.of.canWrite
          ? ATT_ERROR.writeNotPermitted
          : null;
      if (refused === null) host.written(attribute!, Buffer.from(pdu.subarray(3)));
      if (code === ATT.writeCommand) return null;
      return refused === null
        ? Buffer.from([ATT.writeResponse])
        : attError(code, pdu.readUInt16LE(1), refused);
    }
    case ATT.confirmation:
      return null;
    default:
      return attError(code, 0, ATT_ERROR.notSupported);
  }
}

function inRange(pdu: Buffer, table: readonly Attribute[], type: Uuid | null): Attribute[] {
  const [from, to] = [pdu.readUInt16LE(1), pdu.readUInt16LE(3)];
  return table.filter((a) => a.handle >= from && a.handle <= to && (type === null || a.type === type));
}

/** As many items of one length as fit into a packet. */
function list(
  pdu: Buffer,
  answer: number,
  mtu: number,
  attributes: readonly Attribute[],
  item: (a: Attribute) => Buffer,
): Buffer {
  const first = attributes[0];
  if (!first) return attError(pdu[0]!, pdu.readUInt16LE(1), ATT_ERROR.notFound);
  const length = item(first).length;
  const items: Buffer[] = [];
  for (const bytes of attributes.map(item)) {
    if (bytes.length !== length || 2 + length * (items.length + 1) > mtu) break;
    items.push(bytes);
  }
  // A list of handles and types says its format (1: 16 bits, 2: 128), every other one its items' length.
  const head = answer === ATT.findInfoResponse ? (length === 4 ? 1 : 2) : length;
  return Buffer.concat([Buffer.from([answer, head]), ...items]);
}

function read(pdu: Buffer, table: readonly Attribute[], host: AttHost): Buffer {
  const [code, handle] = [pdu[0]!, pdu.readUInt16LE(1)];
  const attribute = table.find((a) => a.handle === handle);
  if (!attribute) return attError(code, handle, ATT_ERROR.invalidHandle);
  const live = attribute.of && attribute.type !== CLIENT_CONFIGURATION ? attribute.of : null;
  if (live && !live.canRead) return attError(code, handle, ATT_ERROR.readNotPermitted);
  const value = live ? Buffer.from(host.read(live)) : attribute.value;
  const offset = code === ATT.readBlobRequest ? pdu.readUInt16LE(3) : 0;
  if (offset > value.length) return attError(code, handle, ATT_ERROR.invalidOffset);
  const answer = code === ATT.readRequest ? ATT.readResponse : ATT.readBlobResponse;
  return Buffer.concat([Buffer.from([answer]), value.subarray(offset, offset + host.mtu - 1)]);
}
