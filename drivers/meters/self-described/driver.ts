import { channelKey } from '../../core/channelKey.ts';
import { sameRef, type Driver, type MeterChannel, type MeterReader } from '../../core/driver.ts';
import { DriverError } from '../../core/errors.ts';
import { uuid16 } from '../../core/uuid.ts';
import { FORMATS, UNITS } from './fields.ts';
import { decodePresentationFormat, decodePresented, type PresentationFormat } from './frame.ts';

interface PresentedChannel extends MeterChannel {
  readonly format: PresentationFormat;
}

/** Meters whose characteristics say in descriptor 0x2904 that they are numbers in volts or amperes. */
export const selfDescribed: Driver = {
  id: 'self-described',
  title: 'Self-described values (presentation format)',
  services: [
    { uuid: uuid16(0x1815), advertised: true }, // Automation IO, whose Analog characteristic has no unit of its own
  ],
  open(profile): MeterReader | null {
    const channels: PresentedChannel[] = [];
    for (const c of profile.characteristics) {
      if (!c.presentationFormat || !(c.canNotify || c.canRead)) continue;
      if (c.presentationFormat.length !== 7) continue; // a descriptor that is not one says nothing about the meter
      const format = decodePresentationFormat(c.presentationFormat);
      const unit = UNITS.get(format.unit);
      const number = FORMATS.get(format.format);
      if (!unit || !number) continue;
      channels.push({
        key: channelKey(c.characteristic, channels),
        quantity: unit.quantity,
        label: unit.label,
        source: { service: c.service, characteristic: c.characteristic, index: c.index },
        step: number.kind === 'integer' ? 10 ** format.exponent : null,
        format,
      });
    }
    if (channels.length === 0) return null;
    return {
      channels,
      sources: channels.map((c) => c.source),
      pollMs: 500,
      read(source, bytes) {
        const channel = channels.find((c) => sameRef(c.source, source));
        if (!channel)
          throw new DriverError('unknown-characteristic', 'This characteristic does not describe itself.');
        const { counts, scale, flags } = decodePresented(channel.format, bytes);
        return [{ key: channel.key, reading: { quantity: channel.quantity, counts, scale, flags } }];
      },
    };
  },
};
