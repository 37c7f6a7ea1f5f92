import { channelKey } from '../../core/channelKey.ts';
import { sameRef, type Driver, type MeterChannel, type MeterReader } from '../../core/driver.ts';
import { DriverError } from '../../core/errors.ts';
import { FLAG, type Reading } from '../../core/reading.ts';
import { uuid16 } from '../../core/uuid.ts';
import { ELECTRICAL_FIELDS, type ElectricalField } from './fields.ts';
import { decodeElectrical } from './frame.ts';

const FIELD_OF = new Map(ELECTRICAL_FIELDS.map((field) => [uuid16(field.uuid), field]));

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
  ],
  open(profile): MeterReader | null {
    const channels: MeterChannel[] = [];
    for (const c of profile.characteristics) {
      const field = FIELD_OF.get(c.characteristic);
      if (!field || !(c.canNotify || c.canRead)) continue;
      channels.push({
        key: channelKey(c.characteristic, channels),
        quantity: field.quantity,
        label: field.label,
        source: { service: c.service, characteristic: c.characteristic, index: c.index },
        step: field.multiplier * 10 ** field.scale,
      });
    }
    if (channels.length === 0) return null;
    return {
      channels,
      sources: channels.map((c) => c.source),
      pollMs: 500,
      read(source, bytes) {
        const field = FIELD_OF.get(source.characteristic);
        const channel = channels.find((c) => sameRef(c.source, source));
        if (!field || !channel)
          throw new DriverError('unknown-characteristic', 'Not an electrical characteristic.');
        return [{ key: channel.key, reading: electricalReading(field, bytes) }];
      },
    };
  },
};
