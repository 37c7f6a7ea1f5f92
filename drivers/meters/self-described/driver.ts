import { channelKey } from '../../core/channelKey.ts';
import { sameRef, type Driver, type MeterChannel, type MeterReader } from '../../core/driver.ts';
import { DriverError } from '../../core/errors.ts';
import { uuid16 } from '../../core/uuid.ts';
import { decodePresented, selfDescription, type PresentationFormat } from '../../core/presentation.ts';

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
      const described = c.canNotify || c.canRead ? selfDescription(c) : null;
      if (described === null) continue;
      channels.push({
        key: channelKey(c.characteristic, channels),
        quantity: described.quantity,
        label: described.label,
        source: { service: c.service, characteristic: c.characteristic, index: c.index },
        step: described.step,
        format: described.format,
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
