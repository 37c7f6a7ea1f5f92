import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import { sameRef } from '../../drivers/core/driver.ts';
import type { CharacteristicRef } from '../../drivers/core/link.ts';
import { shortOf } from '../../drivers/core/uuid.ts';
import type { ReplayCharacteristic, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import type { Adapter, OnAir } from './adapter.ts';
import type { AirLink } from './airLink.ts';
import { ATT, attAnswer, attributeTable, CLIENT_CONFIGURATION, uuidBytes, type Attribute } from './att.ts';
import { CHANNEL_ATT, STATUS, u16 } from './hci.ts';

/** What a peripheral does with a request before its table is asked: answers it, ignores it, or hangs up. */
export type Misbehaviour = (pdu: Buffer) => Buffer | 'silent' | 'hang-up' | null;

export interface PeripheralOptions {
  readonly peer: ReplayPeer;
  readonly clock: Clock;
  readonly address: string;
  readonly adapter: Adapter;
  readonly mtu?: number; // 247
  readonly advertiseEveryMs?: number; // 20
  readonly indicates?: boolean;
  readonly clientConfiguration?: boolean;
}

/** A peer on the virtual air: advertising, the attribute server, notifications, and faults on demand. */
export class Peripheral implements OnAir {
  /** The id under which the node link knows it. */
  readonly address: string;
  misbehave: Misbehaviour | null = null;
  /** Advertises but takes no connection. */
  deaf = false;
  /** Times that it was connected to. */
  connects = 0;
  /** Everything that was written to it, oldest first. */
  readonly writes: { readonly ref: CharacteristicRef; readonly bytes: Uint8Array }[] = [];
  rssi = -55;
  private readonly table: Attribute[];
  private readonly advertising: NodeJS.Timeout;
  private link: AirLink | null = null;
  private mtu = 23;
  private isOut = false;
  private stopPeer: Cancel = () => undefined;

  constructor(private readonly options: PeripheralOptions) {
    this.address = options.address;
    this.table = attributeTable(options.peer.characteristics, {
      indicates: options.indicates ?? false,
      clientConfiguration: options.clientConfiguration ?? true,
    });
    this.advertising = setInterval(() => this.advertise(), options.advertiseEveryMs ?? 20);
  }

  get isConnected(): boolean {
    return this.link !== null;
  }

  isSubscribed(ref: CharacteristicRef): boolean {
    const configuration = this.table.find(
      (a) => a.type === CLIENT_CONFIGURATION && a.of !== undefined && sameRef(a.of, ref),
    );
    return configuration !== undefined && (configuration.value[0]! & 3) !== 0;
  }

  notify(ref: CharacteristicRef, bytes: Uint8Array): void {
    if (!this.isSubscribed(ref)) return;
    const { handle } = this.table.find(
      (a) => a.type === ref.characteristic && a.of !== undefined && sameRef(a.of, ref),
    )!;
    const code = this.options.indicates ? ATT.indication : ATT.notification;
    this.send(Buffer.concat([Buffer.from([code]), u16(handle), bytes.slice(0, this.mtu - 3)]));
  }

  /** Ends the connection with an HCI reason. */
  drop(reason: number = STATUS.endedByPeer): void {
    this.link?.end(reason);
  }

  outOfRange(out: boolean): void {
    this.isOut = out;
  }

  remove(): void {
    clearInterval(this.advertising);
    this.drop();
  }

  reachable(): boolean {
    return !this.isOut && this.options.peer.inRange(this.options.clock.nowMs());
  }

  connected(link: AirLink): void {
    this.link = link;
    this.mtu = 23;
    this.connects++;
    const { peer, clock } = this.options;
    this.stopPeer = peer.connected({
      clock,
      notify: (ref, bytes) => this.notify(ref, bytes),
      drop: () => this.drop(),
    });
  }

  disconnected(): void {
    this.link = null;
    this.stopPeer();
    // What a client has switched on ends with its connection (no bond).
    for (const a of this.table) if (a.type === CLIENT_CONFIGURATION) a.value = Buffer.alloc(2);
  }

  received(frame: Buffer): void {
    if (frame.readUInt16LE(2) !== CHANNEL_ATT) return;
    const pdu = Buffer.from(frame.subarray(4));
    const own = this.misbehave?.(pdu) ?? null;
    if (own === 'silent') return;
    if (own === 'hang-up') return this.drop();
    const answer = own ?? this.answer(pdu);
    if (answer) this.send(answer);
  }

  private answer(pdu: Buffer): Buffer | null {
    if (pdu[0] === ATT.mtuRequest) {
      const ours = this.options.mtu ?? 247;
      this.mtu = Math.max(23, Math.min(ours, pdu.readUInt16LE(1)));
      return Buffer.concat([Buffer.from([ATT.mtuResponse]), u16(ours)]);
    }
    return attAnswer(pdu, this.table, {
      mtu: this.mtu,
      read: (c) => this.options.peer.read(c, this.options.clock.nowMs()),
      written: (attribute, bytes) => this.written(attribute, bytes),
    });
  }

  private written(attribute: Attribute, bytes: Buffer): void {
    if (attribute.type === CLIENT_CONFIGURATION) {
      attribute.value = bytes;
      return;
    }
    const ref: ReplayCharacteristic = attribute.of!;
    this.writes.push({ ref, bytes: new Uint8Array(bytes) });
    this.options.peer.written?.(ref, new Uint8Array(bytes));
  }

  private send(pdu: Buffer): void {
    this.link?.peripheralSends(Buffer.concat([u16(pdu.length, CHANNEL_ATT), pdu]));
  }

  private advertise(): void {
    if (this.link !== null || !this.reachable()) return;
    const { peer, adapter } = this.options;
    const broadcast = peer.broadcast?.(this.options.clock.nowMs()) ?? [];
    const serviceData = broadcast.map(({ uuid, bytes }) =>
      field(shortOf(uuid) === null ? 0x21 : 0x16, Buffer.concat([uuidBytes(uuid), bytes])),
    );
    const name = field(0x09, Buffer.from(peer.name).subarray(0, 29));
    const onlyBroadcasts = peer.characteristics.length === 0;
    const services = peer.services.map((uuid) =>
      field(shortOf(uuid) === null ? 0x07 : 0x03, uuidBytes(uuid)),
    );
    adapter.heard({
      address: this.address,
      rssi: this.rssi,
      data: Buffer.concat([
        field(0x01, Buffer.from([0x06])),
        ...(onlyBroadcasts ? [name] : []),
        ...services,
        ...serviceData,
      ]),
      response: onlyBroadcasts ? Buffer.alloc(0) : name,
      peripheral: this.deaf || onlyBroadcasts ? null : this,
    });
  }
}

/** One field of an advertisement: Core Specification Supplement, Part A, 1. */
function field(type: number, bytes: Buffer): Buffer {
  return Buffer.concat([Buffer.from([bytes.length + 1, type]), bytes]);
}
