import { Bus, BUS, BusError, type Reply } from './bus.ts';
import { variant, type Variant } from './marshal.ts';
import type { Message } from './message.ts';

export type Properties = Record<string, Variant>;
export type Interfaces = Record<string, Properties>;
/** A call of a method of one of the objects' own interfaces. */
export type MethodHandler = (call: Message) => Reply | null | Promise<Reply | null>;

/** The object tree behind a bus name: object manager, properties and their change signals. */
export class ObjectTree {
  readonly bus = new Bus((call) => this.call(call));
  private readonly objects = new Map<string, Interfaces>();

  constructor(private readonly method: MethodHandler) {}

  add(path: string, interfaces: Interfaces): void {
    this.objects.set(path, interfaces);
    this.bus.signal('/', `${BUS}.ObjectManager`, 'InterfacesAdded', 'oa{sa{sv}}', [path, interfaces]);
  }

  remove(path: string): void {
    const interfaces = this.objects.get(path);
    if (!interfaces) return;
    this.objects.delete(path);
    this.bus.signal('/', `${BUS}.ObjectManager`, 'InterfacesRemoved', 'oas', [path, Object.keys(interfaces)]);
  }

  /** Everything below `path`, deepest first. */
  removeBelow(path: string): void {
    for (const below of [...this.objects.keys()].filter((p) => p.startsWith(`${path}/`)).reverse())
      this.remove(below);
  }

  get(path: string, iface: string, property: string): unknown {
    return this.objects.get(path)?.[iface]?.[property]?.value;
  }

  set(path: string, iface: string, properties: Properties): void {
    const owner = this.objects.get(path)?.[iface];
    if (!owner) return;
    Object.assign(owner, properties);
    this.bus.signal(path, `${BUS}.Properties`, 'PropertiesChanged', 'sa{sv}as', [iface, properties, []]);
  }

  private call(call: Message): Reply | null | Promise<Reply | null> {
    const path = call.path ?? '';
    if (call.member === 'GetManagedObjects') return { signature: 'a{oa{sa{sv}}}', body: [this.objects] };
    const object = this.objects.get(path);
    if (!object) throw new BusError(`${BUS}.Error.UnknownObject`, path);
    if (call.interface !== `${BUS}.Properties`) return this.method(call);

    const [iface, name, value] = call.body as [string, string, Variant];
    const properties = object[iface];
    if (!properties) throw new BusError(`${BUS}.Error.UnknownInterface`, iface);
    if (call.member === 'GetAll') return { signature: 'a{sv}', body: [properties] };
    if (call.member === 'Set') {
      this.set(path, iface, { [name]: variant(value.sig, value.value) });
      return null;
    }
    const property = properties[name];
    if (!property) throw new BusError(`${BUS}.Error.InvalidArgs`, name);
    return { signature: 'v', body: [property] };
  }
}
