import { channelKey } from '../../core/channelKey.ts';
import { sameRef, type Driver, type MeterChannel, type MeterReader } from '../../core/driver.ts';
import { DriverError } from '../../core/errors.ts';
import { FLAG, type Quantity, type Reading } from '../../core/reading.ts';
import { uuid16, type Uuid } from '../../core/uuid.ts';
import { ELECTRICAL_FIELDS, type ElectricalField } from './fields.ts';
import { decodeEnergyStatus, ENERGY_STATUS, presentVoltage } from './energyStatus.ts';
import { decodeElectrical } from './frame.ts';

interface Kind {
  readonly quantity: Quantity;
  readonly label: string;
  readonly step: number | null;
  /** null: the value says nothing of this quantity. */
  readonly read: (bytes: Uint8Array) => Reading | null;
}

const KINDS: ReadonlyMap<Uuid, Kind> = new Map([
  ...ELECTRICAL_FIELDS.map((field): [Uuid, Kind] => [
    uuid16(field.uuid),
    {
      quantity: field.quantity,
      label: field.label,
      step: field.multiplier * 10 ** field.scale,
      read: (bytes) => electricalReading(field, bytes),
    },
  ]),
  [
    uuid16(ENERGY_STATUS),
    {
      quantity: 'voltage',
      label: 'Present voltage (battery energy status)',
      step: null,
      read: (bytes) => presentVoltage(decodeEnergyStatus(bytes)),
    },
  ],
]);

export function electricalReading(field: ElectricalField, bytes: Uint8Array): Reading {
  const { raw, over } = decodeElectrical(field, bytes);
  const atEnd = raw !== null && field.endsAreLimits && (raw === 0 || raw === field.largest);
  const apertureS = over !== null && typeof over === 'object' && over.seconds > 0 ? over.seconds : null;
  return {
    quantity: field.quantity,
    counts: (raw ?? 0) * field.multiplier,
    scale: field.scale,
    flags: raw === null ? FLAG.none : atEnd ? FLAG.clipped : 0,
    ...(apertureS === null ? {} : { apertureS }),
  };
}

/** Meters that offer the Bluetooth SIG's electrical characteristics, in whatever service. */
export const sigElectrical: Driver = {
  id: 'sig-electrical',
  title: 'Bluetooth SIG electrical characteristics',
  services: [
    { uuid: uuid16(0x181a), advertised: false }, // Environmental Sensing, a usual home of these characteristics
    { uuid: uuid16(0x1815), advertised: false },
    { uuid: uuid16(0x180f), advertised: false }, // Battery, the home of Battery Energy Status
  ],
  open(profile): MeterReader | null {
    const channels: MeterChannel[] = [];
    for (const c of profile.characteristics) {
      const kind = KINDS.get(c.characteristic);
      if (!kind || !(c.canNotify || c.canRead)) continue;
      channels.push({
        key: channelKey(c.characteristic, channels),
        quantity: kind.quantity,
        label: kind.label,
        source: { service: c.service, characteristic: c.characteristic, index: c.index },
        step: kind.step,
      });
    }
    if (channels.length === 0) return null;
    return {
      channels,
      sources: channels.map((c) => c.source),
      pollMs: 500,
      read(source, bytes) {
        const kind = KINDS.get(source.characteristic);
        const channel = channels.find((c) => sameRef(c.source, source));
        if (!kind || !channel)
          throw new DriverError('unknown-characteristic', 'Not an electrical characteristic.');
        const reading = kind.read(bytes);
        return reading === null ? [] : [{ key: channel.key, reading }];
      },
    };
  },
};
