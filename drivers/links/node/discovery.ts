import type {
  Characteristic,
  Descriptor,
  Noble,
  Peripheral,
  RawCharacteristic,
  RawService,
  Service,
} from '@abandonware/noble';
import type { CharacteristicInfo } from '../../core/link.ts';
import { canonicalUuid, uuid16, type Uuid } from '../../core/uuid.ts';

export interface Found {
  readonly info: CharacteristicInfo;
  readonly characteristic: Characteristic;
  readonly descriptors: readonly { readonly uuid: Uuid; readonly descriptor: Descriptor }[];
  /** False where the meter says that it notifies but offers nothing to switch that on with. */
  readonly canSubscribe: boolean;
}

/** One step of the discovery; rejects when the connection has ended or its time is up. */
type Step = <T>(work: Promise<T>) => Promise<T>;

const CLIENT_CONFIGURATION = uuid16(0x2902);
/** The library asks for this MTU and then remembers the meter's; what holds is the smaller of the two. */
export const OUR_MTU = 256;

/**
 * All characteristics of all services. The library keeps one service per UUID and one characteristic per
 * UUID in it; where it shows the handles (see noble.d.ts), those that it would lose are registered under
 * names of their own, so that two equal characteristics stay two.
 */
export async function discover(noble: Noble, peripheral: Peripheral, step: Step): Promise<Found[]> {
  const seen = new Map<string, number>();
  const found: Found[] = [];
  for (const { uuid, service } of await services(noble, peripheral, step)) {
    for (const { characteristic, canRead, canNotify, canWrite, uuid: short, last } of await characteristics(
      noble,
      peripheral,
      service,
      step,
    )) {
      const ref = { service: canonicalUuid(uuid), characteristic: canonicalUuid(short) };
      const place = `${ref.service} ${ref.characteristic}`;
      const index = seen.get(place) ?? 0;
      seen.set(place, index + 1);
      const descriptors = last
        ? []
        : (await step(characteristic.discoverDescriptorsAsync())).map((descriptor) => ({
            uuid: canonicalUuid(descriptor.uuid),
            descriptor,
          }));
      const uuids = descriptors.map((d) => d.uuid);
      found.push({
        info: { ...ref, index, canRead, canNotify, canWrite, descriptors: uuids },
        characteristic,
        descriptors,
        canSubscribe: last === undefined || uuids.includes(CLIENT_CONFIGURATION),
      });
    }
  }
  correctMtu(noble, peripheral);
  return found;
}

async function services(
  noble: Noble,
  peripheral: Peripheral,
  step: Step,
): Promise<{ readonly uuid: string; readonly service: Service }[]> {
  let raw: readonly RawService[] = [];
  peripheral.once('servicesDiscovered', (_: Peripheral, all: readonly RawService[]) => (raw = all));
  const known = await step(peripheral.discoverServicesAsync([]));
  if (raw.length === known.length || raw.length === 0) {
    return known.map((service) => ({ uuid: service.uuid, service }));
  }
  return named(raw).map(({ name, of }) => ({
    uuid: of.uuid,
    service: noble.addService(peripheral.id, { ...of, uuid: name }),
  }));
}

interface FoundCharacteristic {
  readonly uuid: string;
  readonly characteristic: Characteristic;
  readonly canRead: boolean;
  readonly canNotify: boolean;
  readonly canWrite: boolean;
  /** Nothing follows it that could be a descriptor; undefined where the library does not tell. */
  readonly last: boolean | undefined;
}

async function characteristics(
  noble: Noble,
  peripheral: Peripheral,
  service: Service,
  step: Step,
): Promise<FoundCharacteristic[]> {
  let raw: readonly RawCharacteristic[] = [];
  service.once('characteristicsDiscovered', (all: readonly RawCharacteristic[]) => (raw = all));
  const known = await step(service.discoverCharacteristicsAsync([]));
  if (raw.length !== known.length) {
    return known.map((characteristic) => {
      const can = (property: string): boolean => characteristic.properties.includes(property);
      return {
        uuid: characteristic.uuid,
        characteristic,
        canRead: can('read'),
        canNotify: can('notify') || can('indicate'),
        canWrite: can('write') || can('writeWithoutResponse'),
        last: undefined,
      };
    });
  }
  const names = named(raw);
  const objects = noble.addCharacteristics(
    peripheral.id,
    service.uuid,
    names.map(({ name, of }) => ({ ...of, uuid: name })),
  );
  // Core Specification, Vol 3, Part G, 3.3.1.1: the characteristic's properties, one bit each.
  return names.map(({ of }, i) => ({
    uuid: of.uuid,
    characteristic: objects[i]!,
    canRead: (of.properties & 0x02) !== 0,
    canNotify: (of.properties & 0x30) !== 0,
    canWrite: (of.properties & 0x0c) !== 0,
    last: of.valueHandle >= of.endHandle,
  }));
}

/** A name for each, unique among them: the UUID for the first, "UUID#1" for the second, ... */
function named<T extends { readonly uuid: string }>(all: readonly T[]): { name: string; of: T }[] {
  const count = new Map<string, number>();
  return all.map((of) => {
    const n = count.get(of.uuid) ?? 0;
    count.set(of.uuid, n + 1);
    return { name: n === 0 ? of.uuid : `${of.uuid}#${n}`, of };
  });
}

/** Without this a value longer than one packet would be read only as far as the first packet goes. */
function correctMtu(noble: Noble, peripheral: Peripheral): void {
  const gatt = noble._bindings?._gatts?.[peripheral.id];
  if (gatt && gatt._mtu > OUR_MTU) gatt._mtu = OUR_MTU;
}
