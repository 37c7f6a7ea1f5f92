import type { CharacteristicInfo } from '../../core/link.ts';
import { canonicalUuid, type Uuid } from '../../core/uuid.ts';
import { isNotFound } from './errors.ts';

/** A characteristic with the browser's object, which is good for one connection only. */
export interface Discovered {
  readonly info: CharacteristicInfo;
  readonly remote: BluetoothRemoteGATTCharacteristic;
}

/** Browsers throw NotFoundError where a list is empty. */
async function orNone<T>(list: Promise<T[]>): Promise<T[]> {
  try {
    return await list;
  } catch (error) {
    if (isNotFound(error)) return [];
    throw error;
  }
}

/** All characteristics that the page may see. Rejects with the browser's own exception. */
export async function discover(server: BluetoothRemoteGATTServer): Promise<Discovered[]> {
  const found: Discovered[] = [];
  const seen = new Map<string, number>();
  // Browsers list services in no certain order; sorted, they are the same after every connect.
  const services = await orNone(server.getPrimaryServices());
  services.sort((a, b) => (a.uuid < b.uuid ? -1 : a.uuid > b.uuid ? 1 : 0));
  for (const service of services) {
    for (const remote of await orNone(service.getCharacteristics())) {
      const ref = { service: canonicalUuid(service.uuid), characteristic: canonicalUuid(remote.uuid) };
      // Counted over all services of one UUID, so that a second instance of a service keeps its own refs.
      const name = `${ref.service}/${ref.characteristic}`;
      const index = seen.get(name) ?? 0;
      seen.set(name, index + 1);
      const { properties } = remote;
      found.push({
        remote,
        info: {
          ...ref,
          index,
          canRead: properties.read,
          canNotify: properties.notify || properties.indicate,
          canWrite: properties.write || properties.writeWithoutResponse,
          descriptors: await descriptorsOf(remote),
        },
      });
    }
  }
  return found;
}

async function descriptorsOf(remote: BluetoothRemoteGATTCharacteristic): Promise<Uuid[]> {
  const descriptors = await orNone(remote.getDescriptors());
  return [...new Set(descriptors.map((d) => canonicalUuid(d.uuid)))];
}
