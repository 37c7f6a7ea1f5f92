import type { CharacteristicRef } from '../../drivers/core/link.ts';
import { sameRef } from '../../drivers/core/driver.ts';
import { uuid16, type Uuid } from '../../drivers/core/uuid.ts';
import type { ReplayAir, ReplayCharacteristic, ReplayPeer } from '../../drivers/links/replay/peer.ts';

/**
 * The two meters of the link contract, as plain facts that any rig can put on its air. The first has all
 * that a driver may meet, two characteristics of one UUID among it; the second is there to be filtered out.
 */
export const METER_SERVICE: Uuid = '7a1c0001-5b1e-4c63-9d5e-3f0a6e2b9c10';
export const OTHER_SERVICE: Uuid = '7a1c0f01-5b1e-4c63-9d5e-3f0a6e2b9c10';
const AUTOMATION_IO = uuid16(0x1815);
const ANALOG = uuid16(0x2a58);
export const FORMAT = uuid16(0x2904);

const ref = (service: Uuid, characteristic: Uuid, index = 0): CharacteristicRef => ({
  service,
  characteristic,
  index,
});
export const STREAM = ref(METER_SERVICE, '7a1c0002-5b1e-4c63-9d5e-3f0a6e2b9c10');
export const COMMAND = ref(METER_SERVICE, '7a1c0003-5b1e-4c63-9d5e-3f0a6e2b9c10');
export const INFO = ref(METER_SERVICE, '7a1c0004-5b1e-4c63-9d5e-3f0a6e2b9c10');
export const FIRST_ANALOG = ref(AUTOMATION_IO, ANALOG, 0);
export const SECOND_ANALOG = ref(AUTOMATION_IO, ANALOG, 1);

// Presentation formats: sint16, 10^-3, volt (0x2728) and ampere (0x2704), no description.
export const VOLT_FORMAT = [0x0e, 0xfd, 0x28, 0x27, 0x01, 0x00, 0x00];
export const AMPERE_FORMAT = [0x0e, 0xfd, 0x04, 0x27, 0x01, 0x00, 0x00];

export interface MeterFacts {
  readonly id: string;
  readonly name: string;
  readonly services: readonly Uuid[];
  readonly characteristics: readonly (ReplayCharacteristic & { readonly value: readonly number[] })[];
}

function characteristic(
  at: CharacteristicRef,
  can: readonly ('read' | 'notify' | 'write')[],
  value: readonly number[],
  format: readonly number[] | null = null,
): MeterFacts['characteristics'][number] {
  return {
    ...at,
    canRead: can.includes('read'),
    canNotify: can.includes('notify'),
    canWrite: can.includes('write'),
    descriptors: format ? [FORMAT] : [],
    descriptorValues: format ? [{ uuid: FORMAT, bytes: Uint8Array.from(format) }] : [],
    value,
  };
}

export const METER: MeterFacts = {
  id: 'contract-meter',
  name: 'Contract meter',
  services: [METER_SERVICE],
  characteristics: [
    characteristic(STREAM, ['notify'], []),
    characteristic(COMMAND, ['write'], []),
    characteristic(INFO, ['read'], [0x4e, 0x69, 0x67, 0x68, 0x74]),
    characteristic(FIRST_ANALOG, ['read', 'notify'], [0x56, 0x31], VOLT_FORMAT),
    characteristic(SECOND_ANALOG, ['read', 'notify'], [0x32, 0x00], AMPERE_FORMAT),
  ],
};

export const OTHER_METER: MeterFacts = {
  id: 'other-meter',
  name: 'Other meter',
  services: [OTHER_SERVICE],
  characteristics: [characteristic(ref(OTHER_SERVICE, OTHER_SERVICE), ['read'], [1])],
};

/** Broadcasts under this 16-bit service, in a packet of the length that the oldest radios allow (31 octets). */
export const BROADCAST_SERVICE: Uuid = uuid16(0xfcd2);

/** A third meter, which takes no connection: what it has to say is in its advertisements. */
export function beaconPeer() {
  let bytes: Uint8Array = Uint8Array.of(0);
  let inRange = true;
  const peer: ReplayPeer = {
    id: 'contract-beacon',
    name: 'Beacon',
    services: [],
    characteristics: [],
    inRange: () => inRange,
    connected: () => () => undefined,
    read: () => Uint8Array.of(),
    broadcast: () => [{ uuid: BROADCAST_SERVICE, bytes }],
  };
  return {
    peer,
    say: (next: readonly number[]) => void (bytes = Uint8Array.from(next)),
    setInRange: (value: boolean) => void (inRange = value),
  };
}

/** A contract meter for a link over replayed peers, or for a rig that takes such peers. */
export function contractPeer(facts: MeterFacts) {
  let air: ReplayAir | null = null;
  let inRange = true;
  const written: { ref: CharacteristicRef; bytes: number[] }[] = [];
  const peer: ReplayPeer = {
    id: facts.id,
    name: facts.name,
    services: facts.services,
    characteristics: facts.characteristics,
    inRange: () => inRange,
    connected(opened) {
      air = opened;
      return () => (air = null);
    },
    read: (at) => Uint8Array.from(facts.characteristics.find((c) => sameRef(c, at))!.value),
    written: ({ service, characteristic: uuid, index }, bytes) =>
      void written.push({ ref: ref(service, uuid, index), bytes: [...bytes] }),
  };
  return {
    peer,
    written,
    isConnected: () => air !== null,
    notify: (at: CharacteristicRef, bytes: readonly number[]) => air?.notify(at, Uint8Array.from(bytes)),
    drop: () => air?.drop('The meter ended the connection.'),
    setInRange: (value: boolean) => void (inRange = value),
  };
}
