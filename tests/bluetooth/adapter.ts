import { AirLink } from './airLink.ts';
import {
  ACL,
  ADVERT,
  addressBytes,
  addressText,
  COMMAND,
  EVENT,
  event,
  LE_EVENT,
  PACKET,
  STATUS,
  u16,
} from './hci.ts';

const ADDRESS = 'c0:de:00:00:00:ff';
const HCI_VERSION = 8; // Bluetooth 4.2
const ACL_LENGTH = 251;
const ACL_PACKETS = 8;
const COMMAND_MS = 1;
/** A host may not have heard yet that it has lost a link so shortly before. */
const ON_ITS_WAY_MS = 2000;

/** What the adapter needs of a peripheral on the air. */
export interface OnAir {
  readonly address: string;
  reachable(): boolean;
  connected(link: AirLink): void;
  disconnected(status: number): void;
  received(frame: Buffer): void;
}

export interface Advert {
  readonly address: string;
  readonly rssi: number;
  readonly data: Buffer;
  readonly response: Buffer;
  /** Takes a connection; without one, and without a response to a scan, it only broadcasts. */
  readonly peripheral: OnAir | null;
}

/** A virtual LE controller in the central's role; it speaks H4 packets to one host at a time. */
export class Adapter {
  up = true;
  /** What the host did that a controller would object to. */
  readonly violations: string[] = [];
  private toHost: ((packet: Buffer) => void) | null = null;
  private scan = { on: false, active: false, once: true, seen: new Set<string>() };
  private initiating: { address: string; intervalMs: number; supervisionMs: number } | null = null;
  private readonly links = new Map<number, { readonly link: AirLink; held: number }>();
  private nextHandle = 0x40;
  /** When links ended that the host did not end itself, by their handles. */
  private readonly lost = new Map<number, number>();

  hostArrives(toHost: (packet: Buffer) => void): void {
    this.hostLeaves();
    this.toHost = toHost;
  }

  /** The host's process is gone: the system ends its connections. */
  hostLeaves(): void {
    this.toHost = null;
    this.reset(STATUS.endedByPeer);
  }

  setUp(up: boolean): void {
    this.up = up;
    // An adapter that goes down tells its host nothing; the peripherals notice by themselves.
    const toHost = this.toHost;
    this.toHost = null;
    if (!up) this.reset(STATUS.supervisionTimeout);
    this.toHost = toHost;
  }

  get isScanning(): boolean {
    return this.scan.on;
  }

  get isConnecting(): boolean {
    return this.initiating !== null;
  }

  stopScan(): void {
    this.scan.on = false;
  }

  heard(advert: Advert): void {
    if (!this.up) return;
    if (this.scan.on) {
      const broadcasts = advert.peripheral === null && advert.response.length === 0;
      const type = broadcasts ? ADVERT.nonConnectable : ADVERT.connectable;
      this.report(type, advert.address, advert.data, advert.rssi);
      if (this.scan.active && advert.response.length > 0) {
        this.report(ADVERT.scanResponse, advert.address, advert.response, advert.rssi);
      }
    }
    if (advert.peripheral && this.initiating?.address === advert.address) this.connect(advert.peripheral);
  }

  fromHost(packet: Buffer): void {
    if (!this.up) return;
    if (packet[0] === PACKET.command) return this.command(packet.readUInt16LE(1), packet.subarray(4));
    if (packet[0] === PACKET.acl) return this.data(packet);
    this.violations.push(`packet type ${packet[0]}`);
  }

  private reset(status: number): void {
    this.scan = { on: false, active: false, once: true, seen: new Set() };
    this.initiating = null;
    for (const { link } of [...this.links.values()]) link.end(status);
    this.links.clear();
  }

  private command(code: number, parameters: Buffer): void {
    const complete = (status: number, rest: Buffer = Buffer.alloc(0)): void =>
      this.later(EVENT.commandComplete, [Buffer.from([1]), u16(code), Buffer.from([status]), rest]);
    const status = (value: number): void =>
      this.later(EVENT.commandStatus, [Buffer.from([value, 1]), u16(code)]);
    switch (code) {
      case COMMAND.reset:
        this.reset(STATUS.endedByHost);
        return complete(STATUS.success);
      case COMMAND.setEventMask:
      case COMMAND.leSetEventMask:
      case COMMAND.writeLeHost:
        return complete(STATUS.success);
      case COMMAND.readLeHost:
        return complete(STATUS.success, Buffer.from([1, 0]));
      case COMMAND.readLocalVersion:
        return complete(STATUS.success, Buffer.from([HCI_VERSION, 0, 0, HCI_VERSION, 0xff, 0xff, 0, 0]));
      case COMMAND.readBufferSize:
        return complete(
          STATUS.success,
          Buffer.concat([u16(ACL_LENGTH), Buffer.from([0]), u16(ACL_PACKETS, 0)]),
        );
      case COMMAND.leReadBufferSize:
        return complete(STATUS.success, Buffer.concat([u16(ACL_LENGTH), Buffer.from([ACL_PACKETS])]));
      case COMMAND.readAddress:
        return complete(STATUS.success, addressBytes(ADDRESS));
      case COMMAND.readRssi:
        return complete(STATUS.success, Buffer.concat([parameters.subarray(0, 2), Buffer.from([0xc8])]));
      case COMMAND.leSetScanParameters:
        if (this.scan.on) return complete(STATUS.disallowed);
        this.scan.active = parameters[0] === 1;
        return complete(STATUS.success);
      case COMMAND.leSetScanEnable:
        this.scan = { ...this.scan, on: parameters[0] === 1, once: parameters[1] === 1, seen: new Set() };
        return complete(STATUS.success);
      case COMMAND.leCreateConnection:
        // Not every controller can look for a peer while it scans; this one cannot.
        if (this.initiating || this.scan.on) return status(STATUS.disallowed);
        this.initiating = {
          address: addressText(parameters.subarray(6, 12)),
          intervalMs: parameters.readUInt16LE(15) * 1.25,
          supervisionMs: parameters.readUInt16LE(19) * 10,
        };
        return status(STATUS.success);
      case COMMAND.leCreateConnectionCancel:
        if (!this.initiating) return complete(STATUS.disallowed);
        this.initiating = null;
        complete(STATUS.success);
        return this.connectionComplete(STATUS.unknownConnection, 0, '00:00:00:00:00:00', 0, 0);
      case COMMAND.disconnect: {
        const handle = parameters.readUInt16LE(0);
        const held = this.links.get(handle);
        status(held ? STATUS.success : STATUS.unknownConnection);
        const lostMs = this.lost.get(handle) ?? -Infinity;
        if (!held && performance.now() - lostMs > ON_ITS_WAY_MS)
          this.violations.push(`disconnect of unknown handle ${handle}`);
        setTimeout(() => held?.link.end(STATUS.endedByHost), COMMAND_MS * 2);
        return;
      }
      default:
        this.violations.push(`command 0x${code.toString(16)}`);
        return complete(STATUS.unknownCommand);
    }
  }

  private connect(peripheral: OnAir): void {
    const { intervalMs, supervisionMs } = this.initiating!;
    this.initiating = null;
    const handle = this.nextHandle++;
    const link = new AirLink({
      intervalMs,
      supervisionMs,
      reachable: () => this.up && peripheral.reachable(),
      toHost: ({ first, bytes }) => {
        const flag = first ? ACL.firstFromController : ACL.continuing;
        const head = Buffer.concat([Buffer.from([PACKET.acl]), u16(handle | (flag << 12), bytes.length)]);
        this.toHost?.(Buffer.concat([head, bytes]));
      },
      hostSent: (packets) => {
        const held = this.links.get(handle);
        if (held) held.held -= packets;
        const counts = Buffer.concat([Buffer.from([1]), u16(handle, packets)]);
        this.toHost?.(event(EVENT.numberOfCompletedPackets, counts));
      },
      toPeripheral: (frame) => peripheral.received(frame),
      onEnd: (status) => {
        this.links.delete(handle);
        if (status !== STATUS.endedByHost) this.lost.set(handle, performance.now());
        const parameters = Buffer.concat([Buffer.from([0]), u16(handle), Buffer.from([status])]);
        this.toHost?.(event(EVENT.disconnectionComplete, parameters));
        peripheral.disconnected(status);
      },
    });
    this.links.set(handle, { link, held: 0 });
    peripheral.connected(link);
    this.connectionComplete(STATUS.success, handle, peripheral.address, intervalMs, supervisionMs);
  }

  private connectionComplete(
    status: number,
    handle: number,
    address: string,
    intervalMs: number,
    supervisionMs: number,
  ): void {
    this.later(EVENT.leMeta, [
      Buffer.from([LE_EVENT.connectionComplete, status]),
      u16(handle),
      Buffer.from([0, 1]), // central; the peer's address is a random static one
      addressBytes(address),
      u16(intervalMs / 1.25, 0, supervisionMs / 10),
      Buffer.from([0]),
    ]);
  }

  private report(type: number, address: string, data: Buffer, rssi: number): void {
    const key = `${type} ${address}`;
    if (this.scan.once && this.scan.seen.has(key)) return;
    this.scan.seen.add(key);
    const parameters = Buffer.concat([
      Buffer.from([LE_EVENT.advertisingReport, 1, type, 1]),
      addressBytes(address),
      Buffer.from([data.length]),
      data,
      Buffer.from([rssi & 0xff]),
    ]);
    this.toHost?.(event(EVENT.leMeta, parameters));
  }

  private data(packet: Buffer): void {
    const head = packet.readUInt16LE(1);
    const length = packet.readUInt16LE(3);
    const held = this.links.get(head & 0xfff);
    if (packet.length !== length + 5) this.violations.push(`data of ${packet.length - 5}, said ${length}`);
    if (length > ACL_LENGTH) this.violations.push(`data of ${length} in a buffer of ${ACL_LENGTH}`);
    if (!held) return; // a controller drops it
    if (++held.held > ACL_PACKETS) this.violations.push(`${held.held} packets in ${ACL_PACKETS} buffers`);
    held.link.hostSends({
      first: ((head >> 12) & 3) !== ACL.continuing,
      bytes: Buffer.from(packet.subarray(5)),
    });
  }

  private later(code: number, parts: readonly Buffer[]): void {
    setTimeout(() => {
      if (this.up) this.toHost?.(event(code, Buffer.concat(parts)));
    }, COMMAND_MS);
  }
}
