import { BusError, type Reply } from './bus.ts';
import { variant } from './marshal.ts';
import type { Message } from './message.ts';
import type { ObjectTree } from './objects.ts';

const DEVICE = 'org.bluez.Device1';
const SERVICE = 'org.bluez.GattService1';
const CHARACTERISTIC = 'org.bluez.GattCharacteristic1';
const DESCRIPTOR = 'org.bluez.GattDescriptor1';
const CLIENT_CONFIGURATION = '00002902-0000-1000-8000-00805f9b34fb';

export interface EmulatedCharacteristic {
  readonly uuid: string;
  readonly flags: readonly ('read' | 'write' | 'write-without-response' | 'notify' | 'indicate')[];
  /** Beside the client configuration, which every notifying characteristic gets. */
  readonly descriptors?: readonly { readonly uuid: string; readonly bytes: Uint8Array }[];
}

export interface MeterDescription {
  readonly address: string;
  readonly name: string;
  readonly advertised: readonly string[];
  readonly services: readonly {
    readonly uuid: string;
    readonly characteristics: readonly EmulatedCharacteristic[];
  }[];
}

/** Names a characteristic of an emulated meter: of those with this UUID, in order of the description, the nth. */
export interface Spot {
  readonly uuid: string;
  readonly index?: number;
}

type Fault = 'connect' | 'read' | 'write' | 'subscribe';

/** One peripheral: what it offers, and levers for what can go wrong with it. */
export class EmulatedMeter {
  readonly path: string;
  /** It neither advertises nor answers a connect. */
  unreachable = false;
  /** Operations that it refuses. */
  readonly refuses = new Set<Fault>();
  /** Operations that it never answers. */
  readonly ignores = new Set<Fault>();
  onRead: (uuid: string) => Uint8Array = () => Uint8Array.of();
  readonly written: { readonly uuid: string; readonly bytes: Uint8Array }[] = [];
  /** Told when somebody subscribes or ends a subscription. */
  onNotifying: (uuid: string, on: boolean) => void = () => undefined;
  private readonly characteristics: {
    readonly path: string;
    readonly service: string;
    readonly of: EmulatedCharacteristic;
  }[] = [];

  constructor(
    adapter: string,
    private readonly description: MeterDescription,
    private readonly objects: ObjectTree,
  ) {
    const { address, name, advertised } = description;
    this.path = `${adapter}/dev_${address.replaceAll(':', '_')}`;
    description.services.forEach((service, s) =>
      service.characteristics.forEach((of, c) => {
        const servicePath = `${this.path}/service${hex4(s + 1)}`;
        this.characteristics.push({ path: `${servicePath}/char${hex4(c + 1)}`, service: servicePath, of });
      }),
    );
    objects.add(this.path, {
      [DEVICE]: {
        Address: variant('s', address),
        AddressType: variant('s', 'random'),
        Name: variant('s', name),
        Alias: variant('s', name),
        Paired: variant('b', false),
        Trusted: variant('b', false),
        Blocked: variant('b', false),
        LegacyPairing: variant('b', false),
        Connected: variant('b', false),
        ServicesResolved: variant('b', false),
        UUIDs: variant('as', advertised),
        Adapter: variant('o', adapter),
        RSSI: variant('n', -50),
      },
    });
  }

  get address(): string {
    return this.description.address;
  }

  get connected(): boolean {
    return this.objects.get(this.path, DEVICE, 'Connected') === true;
  }

  notifying(spot: Spot): boolean {
    return this.objects.get(this.find(spot).path, CHARACTERISTIC, 'Notifying') === true;
  }

  /** One notification; nothing happens where nobody has subscribed. */
  notify(spot: Spot, bytes: Uint8Array): void {
    const { path } = this.find(spot);
    if (this.objects.get(path, CHARACTERISTIC, 'Notifying') !== true) return;
    this.objects.set(path, CHARACTERISTIC, { Value: variant('ay', bytes) });
  }

  advertise(rssi: number): void {
    if (!this.unreachable) this.objects.set(this.path, DEVICE, { RSSI: variant('n', rssi) });
  }

  /** The connection ends, as when the meter goes out of range. */
  drop(): void {
    if (!this.connected) return;
    this.objects.set(this.path, DEVICE, { ServicesResolved: variant('b', false) });
    this.objects.removeBelow(this.path);
    this.objects.set(this.path, DEVICE, { Connected: variant('b', false) });
  }

  call(call: Message): Reply | null | Promise<Reply | null> {
    if (call.interface === DEVICE && call.member === 'Connect') return this.connect();
    if (call.interface === DEVICE && call.member === 'Disconnect') {
      this.drop();
      return null;
    }
    if (call.interface === DESCRIPTOR && call.member === 'ReadValue') return this.readDescriptor(call.path!);
    if (call.interface !== CHARACTERISTIC) return null;
    const target = this.characteristics.find((c) => c.path === call.path);
    if (!target) throw new BusError('org.bluez.Error.Failed', 'Not connected');
    switch (call.member ?? '') {
      case 'StartNotify':
      case 'StopNotify': {
        const on = call.member === 'StartNotify';
        if (on && this.refuses.has('subscribe'))
          throw new BusError('org.bluez.Error.NotPermitted', 'refused');
        if (on && this.ignores.has('subscribe')) return never();
        this.objects.set(target.path, CHARACTERISTIC, { Notifying: variant('b', on) });
        this.onNotifying(target.of.uuid, on);
        return null;
      }
      case 'ReadValue': {
        if (this.refuses.has('read')) throw new BusError('org.bluez.Error.NotPermitted', 'refused');
        if (this.ignores.has('read')) return never();
        const bytes = this.onRead(target.of.uuid);
        // BlueZ signals a Value change on a read too, and Chromium expects exactly one.
        this.objects.set(target.path, CHARACTERISTIC, { Value: variant('ay', bytes) });
        return { signature: 'ay', body: [bytes] };
      }
      case 'WriteValue':
        if (this.refuses.has('write')) throw new BusError('org.bluez.Error.NotPermitted', 'refused');
        if (this.ignores.has('write')) return never();
        this.written.push({ uuid: target.of.uuid, bytes: call.body[0] as Uint8Array });
        return null;
      default:
        return null;
    }
  }

  private find(spot: Spot): { readonly path: string } {
    const found = this.characteristics.filter((c) => c.of.uuid === spot.uuid)[spot.index ?? 0];
    if (!found) throw new Error(`the emulated meter has no characteristic ${spot.uuid}`);
    return found;
  }

  private connect(): null | Promise<null> {
    if (this.ignores.has('connect')) return never();
    if (this.unreachable || this.refuses.has('connect'))
      throw new BusError('org.bluez.Error.Failed', 'le-connection-abort-by-local');
    if (this.connected) return null;
    this.objects.set(this.path, DEVICE, { Connected: variant('b', true) });
    this.description.services.forEach((service, s) =>
      this.objects.add(`${this.path}/service${hex4(s + 1)}`, {
        [SERVICE]: {
          UUID: variant('s', service.uuid),
          Device: variant('o', this.path),
          Primary: variant('b', true),
          Includes: variant('ao', []),
        },
      }),
    );
    for (const { path, service, of } of this.characteristics) {
      this.objects.add(path, {
        [CHARACTERISTIC]: {
          UUID: variant('s', of.uuid),
          Service: variant('o', service),
          Value: variant('ay', Uint8Array.of()),
          Notifying: variant('b', false),
          Flags: variant('as', of.flags),
        },
      });
      this.descriptorsOf(of).forEach(({ uuid, bytes }, d) =>
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
    return null;
  }

  /** Chromium starts notifications only where there is exactly one client configuration. */
  private descriptorsOf(of: EmulatedCharacteristic): readonly { uuid: string; bytes: Uint8Array }[] {
    const notifies = of.flags.includes('notify') || of.flags.includes('indicate');
    return [
      ...(notifies ? [{ uuid: CLIENT_CONFIGURATION, bytes: Uint8Array.of(0, 0) }] : []),
      ...(of.descriptors ?? []),
    ];
  }

  private readDescriptor(path: string): Reply {
    const bytes = this.objects.get(path, DESCRIPTOR, 'Value');
    if (!(bytes instanceof Uint8Array)) throw new BusError('org.bluez.Error.Failed', 'Not connected');
    this.objects.set(path, DESCRIPTOR, { Value: variant('ay', bytes) });
    return { signature: 'ay', body: [bytes] };
  }
}

const hex4 = (n: number): string => n.toString(16).padStart(4, '0');

/** A call that is never answered. */
function never(): Promise<null> {
  return new Promise(() => undefined);
}
