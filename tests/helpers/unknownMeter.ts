import type { Cancel } from '../../drivers/core/clock.ts';
import type { ReplayAir, ReplayCharacteristic, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { meterDescriptionSchema, type MeterDescription } from '../../drivers/teach/description.ts';

export const UNKNOWN_SERVICE = '6e1d0001-3f5a-4c1b-9d53-000000000000';
export const UNKNOWN_CHARACTERISTIC = '6e1d0002-3f5a-4c1b-9d53-000000000000';

/** Sends frames that no driver knows: a head of one octet, then millivolts as a signed number, big end first. */
export class UnknownMeter implements ReplayPeer {
  readonly services: readonly string[] = [];
  readonly characteristics: readonly ReplayCharacteristic[];
  private air: ReplayAir | null = null;

  constructor(
    readonly id: string,
    readonly name = 'Unknown meter',
  ) {
    this.characteristics = [
      {
        service: UNKNOWN_SERVICE,
        characteristic: UNKNOWN_CHARACTERISTIC,
        index: 0,
        canRead: false,
        canWrite: false,
        canNotify: true,
        descriptors: [],
        descriptorValues: [],
      },
    ];
  }

  inRange(): boolean {
    return true;
  }

  connected(air: ReplayAir): Cancel {
    this.air = air;
    return () => {
      this.air = null;
    };
  }

  read(): Uint8Array {
    return new Uint8Array(0);
  }

  send(millivolts: number): void {
    const ref = { service: UNKNOWN_SERVICE, characteristic: UNKNOWN_CHARACTERISTIC, index: 0 };
    this.air?.notify(ref, Uint8Array.of(0xaa, (millivolts >> 8) & 255, millivolts & 255));
  }
}

/** What teaching makes of it. */
export const UNKNOWN_METER_TAUGHT: MeterDescription = meterDescriptionSchema.parse({
  schema: 'nightdraw.meter/1',
  title: 'Taught millivolts',
  source: { service: UNKNOWN_SERVICE, characteristic: UNKNOWN_CHARACTERISTIC },
  nameStartsWith: null,
  length: 3,
  mask: null,
  checksum: null,
  fixed: { bits: [{ at: 0, mask: 255 }], is: 'aa' },
  modes: { bits: [], rows: [{ is: '', quantity: 'voltage', exponent: -3, limit: 100_000, ac: false }] },
  value: { kind: 'integer', at: 1, octets: 2, order: 'big', sign: 'twos-complement' },
  sign: null,
  flags: [],
  overload: [],
});
