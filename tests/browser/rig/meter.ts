import { setTimeout as delay } from 'node:timers/promises';
import type { Clock } from '../../../drivers/core/clock.ts';
import { sameRef } from '../../../drivers/core/driver.ts';
import type { CharacteristicRef } from '../../../drivers/core/link.ts';
import { uuid16, type Uuid } from '../../../drivers/core/uuid.ts';
import type { ReplayCharacteristic, ReplayPeer } from '../../../drivers/links/replay/peer.ts';
import { BusError, type Reply } from './bus.ts';
import { variant } from './marshal.ts';
import type { Message } from './message.ts';
import type { ObjectTree } from './objects.ts';

const DEVICE = 'org.bluez.Device1';
const SERVICE = 'org.bluez.GattService1';
const CHARACTERISTIC = 'org.bluez.GattCharacteristic1';
const DESCRIPTOR = 'org.bluez.GattDescriptor1';
const CLIENT_CONFIGURATION = uuid16(0x2902);
const CONNECT_TRY_MS = 20;

export type Fault = 'connect' | 'read' | 'write' | 'subscribe';

interface Placed {
  readonly path: string;
  readonly servicePath: string;
  readonly of: ReplayCharacteristic;
}

/** A replayed peripheral as BlueZ shows it, with levers for what can go wrong. */
export class EmulatedMeter {
  readonly path: string;
  /** Operations that it refuses. */
  readonly refuses = new Set<Fault>();
  /** Operations that it never answers. */
  readonly ignores = new Set<Fault>();
  private readonly characteristics: readonly Placed[];
  private readonly services: readonly { readonly path: string; readonly uuid: Uuid }[];
  private stopPeer: (() => void) | null = null;
  private connecting: { calledOff: boolean } | null = null;

  constructor(
    adapter: string,
    readonly address: string,
    private readonly peer: ReplayPeer,
    private readonly clock: Clock,
    private readonly objects: ObjectTree,
  ) {
    this.path = `${adapter}/dev_${address.replaceAll(':', '_')}`;
    const uuids = [...new Set(peer.characteristics.map((c) => c.service))];
    this.services = uuids.map((uuid, s) => ({ uuid, path: `${this.path}/service${hex4(s + 1)}` }));
    this.characteristics = peer.characteristics.map((of, c) => {
      const servicePath = this.services.find((s) => s.uuid === of.service)!.path;
      return { of, servicePath, path: `${servicePath}/char${hex4(c + 1)}` };
    });
    objects.add(this.path, {
      [DEVICE]: {
        Address: variant('s', address),
        AddressType: variant('s', 'random'),
        Name: variant('s', peer.name),
        Alias: variant('s', peer.name),
        Paired: variant('b', false),
        Trusted: variant('b', false),
        Blocked: variant('b', false),
        LegacyPairing: variant('b', false),
        Connected: variant('b', false),
        ServicesResolved: variant('b', false),
        UUIDs: variant('as', peer.services),
        Adapter: variant('o', adapter),
        RSSI: variant('n', -50),
      },
    });
  }

  get connected(): boolean {
    return this.objects.get(this.path, DEVICE, 'Connected') === true;
  }

  notifying(ref: CharacteristicRef): boolean {
    return this.objects.get(this.placed(ref).path, CHARACTERISTIC, 'Notifying') === true;
  }

  /** One notification; nothing happens where nobody has subscribed. */
  notify(ref: CharacteristicRef, bytes: Uint8Array): void {
    const { path } = this.placed(ref);
    if (this.objects.get(path, CHARACTERISTIC, 'Notifying') !== true) return;
    this.objects.set(path, CHARACTERISTIC, { Value: variant('ay', bytes) });
  }

  advertise(rssi: number): void {
    if (this.inRange()) this.objects.set(this.path, DEVICE, { RSSI: variant('n', rssi) });
  }

  /** The connection ends, as when the meter goes out of range. */
  drop(): void {
    if (!this.connected) return;
    this.stopPeer?.();
    this.stopPeer = null;
    this.objects.set(this.path, DEVICE, { ServicesResolved: variant('b', false) });
    this.objects.removeBelow(this.path);
    this.objects.set(this.path, DEVICE, { Connected: variant('b', false) });
  }

  call(call: Message): Reply | null | Promise<Reply | null> {
    if (call.interface === DEVICE && call.member === 'Connect') return this.connect();
    if (call.interface === DEVICE && call.member === 'Disconnect') {
      if (this.connecting) this.connecting.calledOff = true;
      this.drop();
      return null;
    }
    if (call.interface === DESCRIPTOR && call.member === 'ReadValue') return this.readDescriptor(call.path!);
    if (call.interface !== CHARACTERISTIC) return null;
    const target = this.characteristics.find((c) => c.path === call.path);
    if (!target || !this.connected) throw new BusError('org.bluez.Error.Failed', 'Not connected');
    switch (call.member ?? '') {
      case 'StartNotify':
        return this.unlessFault('subscribe', () => this.setNotifying(target, true));
      case 'StopNotify':
        return this.setNotifying(target, false);
      case 'ReadValue':
        if (!target.of.canRead) throw new BusError('org.bluez.Error.NotPermitted', 'Read not permitted');
        return this.unlessFault('read', () => {
          const bytes = this.peer.read(target.of, this.clock.nowMs());
          // BlueZ signals a Value change on a read too, and Chromium expects exactly one.
          this.objects.set(target.path, CHARACTERISTIC, { Value: variant('ay', bytes) });
          return { signature: 'ay', body: [bytes] };
        });
      case 'WriteValue':
        if (!target.of.canWrite) throw new BusError('org.bluez.Error.NotPermitted', 'Write not permitted');
        return this.unlessFault('write', () => {
          this.peer.written?.(target.of, call.body[0] as Uint8Array);
          return null;
        });
      default:
        return null;
    }
  }

  private inRange(): boolean {
    return this.peer.inRange(this.clock.nowMs());
  }

  private placed(ref: CharacteristicRef): Placed {
    const found = this.characteristics.find((c) => sameRef(c.of, ref));
    if (!found) throw new Error(`the emulated meter has no characteristic ${ref.characteristic}`);
    return found;
  }

  private unlessFault<T extends Reply | null>(fault: Fault, work: () => T): T | Promise<T> {
    if (this.refuses.has(fault)) throw new BusError('org.bluez.Error.NotPermitted', 'refused');
    if (this.ignores.has(fault)) return new Promise<T>(() => undefined);
    return work();
  }

  private setNotifying(target: Placed, on: boolean): null {
    this.objects.set(target.path, CHARACTERISTIC, { Notifying: variant('b', on) });
    return null;
  }

  /** As BlueZ does, keeps trying while the meter is away, until it is called off. */
  private async connect(): Promise<null> {
    if (this.refuses.has('connect'))
      throw new BusError('org.bluez.Error.Failed', 'le-connection-abort-by-local');
    const attempt = { calledOff: false };
    this.connecting = attempt;
    do {
      await delay(CONNECT_TRY_MS, undefined, { ref: false });
      if (attempt.calledOff) throw new BusError('org.bluez.Error.Failed', 'le-connection-abort-by-local');
    } while (!this.inRange() || this.ignores.has('connect'));
    if (!this.connected) this.appear();
    return null;
  }

  private appear(): void {
    this.objects.set(this.path, DEVICE, { Connected: variant('b', true) });
    for (const { path, uuid } of this.services)
      this.objects.add(path, {
        [SERVICE]: {
          UUID: variant('s', uuid),
          Device: variant('o', this.path),
          Primary: variant('b', true),
          Includes: variant('ao', []),
        },
      });
    for (const { path, servicePath, of } of this.characteristics) {
      this.objects.add(path, {
        [CHARACTERISTIC]: {
          UUID: variant('s', of.characteristic),
          Service: variant('o', servicePath),
          Value: variant('ay', Uint8Array.of()),
          Notifying: variant('b', false),
          Flags: variant('as', flagsOf(of)),
        },
      });
      descriptorsOf(of).forEach(({ uuid, bytes }, d) =>
        this.objects.add(`${path}/desc${hex4(d + 1)}`, {
          [DESCRIPTOR]: {
            UUID: variant('s', uuid),
            Characteristic: variant('o', path),
            Value: variant('ay', bytes),
          },
        }),
      );
    }
    this.objects.set(this.path, DEVICE, { ServicesResolved: variant('b', true) });
    this.stopPeer = this.peer.connected({
      clock: this.clock,
      notify: (ref, bytes) => this.notify(ref, bytes),
      drop: () => this.drop(),
    });
  }

  private readDescriptor(path: string): Reply {
    const bytes = this.objects.get(path, DESCRIPTOR, 'Value');
    if (!(bytes instanceof Uint8Array)) throw new BusError('org.bluez.Error.Failed', 'Not connected');
    return { signature: 'ay', body: [bytes] };
  }
}

function flagsOf(of: ReplayCharacteristic): string[] {
  return [
    ...(of.canRead ? ['read'] : []),
    ...(of.canWrite ? ['write', 'write-without-response'] : []),
    ...(of.canNotify ? ['notify'] : []),
  ];
}

/** Chromium starts notifications only where there is exactly one client configuration. */
function descriptorsOf(of: ReplayCharacteristic): readonly { uuid: Uuid; bytes: Uint8Array }[] {
  const configuration = of.canNotify ? [{ uuid: CLIENT_CONFIGURATION, bytes: Uint8Array.of(0, 0) }] : [];
  return [...configuration, ...of.descriptorValues.filter((d) => d.uuid !== CLIENT_CONFIGURATION)];
}

const hex4 = (n: number): string => n.toString(16).padStart(4, '0');
