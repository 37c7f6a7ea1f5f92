import { setTimeout as delay } from 'node:timers/promises';
import type { ReplayPeer } from '../../../drivers/links/replay/peer.ts';
import { processClock } from '../../../drivers/links/node/clock.ts';
import { BusError, type Reply } from './bus.ts';
import { variant } from './marshal.ts';
import type { Message } from './message.ts';
import { ObjectTree } from './objects.ts';
import { EmulatedMeter } from './meter.ts';

const ROOT = '/org/bluez';
const ADAPTER = `${ROOT}/hci0`;
const ADAPTER_INTERFACE = 'org.bluez.Adapter1';
// A device whose properties do not change while the browser looks is not listed in its chooser.
const ADVERTISE_EVERY_MS = 100;

/** An emulated org.bluez with one adapter and meters near it. */
export class EmulatedBluez {
  readonly objects = new ObjectTree((call) => this.method(call));
  private readonly meters: EmulatedMeter[] = [];
  private advertising = false;

  /** For DBUS_SYSTEM_BUS_ADDRESS. */
  get address(): string {
    return this.objects.bus.address;
  }

  async start(): Promise<void> {
    this.objects.add(ROOT, { 'org.bluez.AgentManager1': {}, 'org.bluez.ProfileManager1': {} });
    this.plugIn();
    await this.objects.bus.start();
  }

  async stop(): Promise<void> {
    this.advertising = false;
    await this.objects.bus.stop();
  }

  addMeter(address: string, peer: ReplayPeer): EmulatedMeter {
    const meter = new EmulatedMeter(ADAPTER, address, peer, processClock, this.objects);
    this.meters.push(meter);
    return meter;
  }

  removeMeter(meter: EmulatedMeter): void {
    meter.drop();
    this.objects.remove(meter.path);
    this.meters.splice(this.meters.indexOf(meter), 1);
  }

  plugIn(): void {
    this.objects.add(ADAPTER, {
      [ADAPTER_INTERFACE]: {
        Address: variant('s', '00:11:22:33:44:55'),
        Name: variant('s', 'bench'),
        Alias: variant('s', 'bench'),
        Class: variant('u', 0),
        Powered: variant('b', true),
        Discoverable: variant('b', false),
        Pairable: variant('b', false),
        Discovering: variant('b', false),
        DiscoverableTimeout: variant('u', 0),
        PairableTimeout: variant('u', 0),
        UUIDs: variant('as', []),
        Modalias: variant('s', ''),
        Roles: variant('as', ['central']),
      },
    });
  }

  /** The adapter is pulled out, its meters with it. */
  unplug(): void {
    for (const meter of this.meters) meter.drop();
    this.objects.remove(ADAPTER);
  }

  private method(call: Message): Reply | null | Promise<Reply | null> {
    if (call.interface === ADAPTER_INTERFACE) return this.adapterCall(call);
    const meter = this.meters.find((m) => call.path === m.path || call.path?.startsWith(`${m.path}/`));
    if (meter) return meter.call(call);
    if (call.interface?.startsWith('org.bluez.')) return null;
    throw new BusError('org.freedesktop.DBus.Error.UnknownMethod', call.member ?? '');
  }

  private adapterCall(call: Message): null {
    if (call.member === 'StartDiscovery' || call.member === 'StopDiscovery') {
      const on = call.member === 'StartDiscovery';
      this.objects.set(ADAPTER, ADAPTER_INTERFACE, { Discovering: variant('b', on) });
      if (on && !this.advertising) void this.advertise();
      this.advertising = on;
    }
    return null;
  }

  private async advertise(): Promise<void> {
    this.advertising = true;
    for (let turn = 0; this.advertising; turn++) {
      for (const meter of this.meters) meter.advertise(-50 - (turn % 2));
      await delay(ADVERTISE_EVERY_MS, undefined, { ref: false });
    }
  }
}
